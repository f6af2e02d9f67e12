"""Writing a visit into a transaction that someone else opened and ends."""

from __future__ import annotations

from collections.abc import Mapping
from typing import cast

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from digitise.errors import RecordError
from digitise.record.check import ReadyVisit, check_corrections, check_model
from digitise.record.loading import find_visit
from digitise.record.rows import correction_row, digest, model_row, part_rows, visit_row
from digitise.record.tables import (
    ClientRow,
    CorrectionRow,
    FieldRow,
    LimbRow,
    PhotographRow,
    VisitPhotographRow,
)
from digitise.record.values import ModelFiles, Side, VisitId
from digitise.tape.points import Limb


def save_visit(session: Session, ready: ReadyVisit) -> VisitId:
    """Add a visit with all that hangs on it.

    Raises
    ------
    RecordError
        A photograph belongs to another client.
    """
    limb = _limb(session, ready)
    _keep_photographs(session, ready, limb.client_id)
    row = visit_row(ready, limb.id, _keep_field(session, ready.visit.field_json))
    session.add(row)
    session.flush()
    session.add_all(part_rows(ready, row.id))
    session.flush()
    session.add_all(correction_row(row.id, *item) for item in ready.visit.corrections.items())
    session.flush()
    return VisitId(row.id)


def save_model(
    session: Session, visit_id: VisitId, model: ModelFiles, corrections: Mapping[int, str]
) -> None:
    """Put a model and the corrections it was made from in the place of those of a stored visit.

    Raises
    ------
    RecordError
        There is no such visit, or the model is of another limb.
    """
    _, limb, _ = find_visit(session, visit_id)
    check_model(model, cast(Limb, limb.kind), cast(Side, limb.side))
    photos = session.scalar(select(func.count()).select_from(VisitPhotographRow).filter_by(visit_id=visit_id))
    check_corrections(corrections.items(), photos or 0)
    session.merge(model_row(model, visit_id))
    for old in session.scalars(select(CorrectionRow).filter_by(visit_id=visit_id)):
        session.delete(old)
    session.flush()
    session.add_all(correction_row(visit_id, *item) for item in corrections.items())
    session.flush()


def _limb(session: Session, ready: ReadyVisit) -> LimbRow:
    client = session.scalar(select(ClientRow).filter_by(code=ready.client))
    if client is None:
        client = ClientRow(code=ready.client)
        session.add(client)
        session.flush()
    which = {"client_id": client.id, "kind": ready.visit.limb, "side": ready.visit.side}
    limb = session.scalar(select(LimbRow).filter_by(**which))
    if limb is None:
        limb = LimbRow(**which)
        session.add(limb)
        session.flush()
    return limb


def _keep_photographs(session: Session, ready: ReadyVisit, client_id: int) -> None:
    for number, (sha256, jpeg) in enumerate(ready.photos.items(), start=1):
        owner = session.scalar(select(PhotographRow.client_id).filter_by(sha256=sha256))
        if owner is None:
            session.add(PhotographRow(sha256=sha256, client_id=client_id, jpeg=jpeg))
        elif owner != client_id:
            raise RecordError(
                "This photograph is stored for another client already.",
                where=ready.visit.photos[number - 1].name,
                do="Check the code, and that it is the right photograph.",
            )
    session.flush()


def _keep_field(session: Session, field: str | None) -> str | None:
    if field is None:
        return None
    sha256 = digest(field.encode())
    if session.get(FieldRow, sha256) is None:
        session.add(FieldRow(sha256=sha256, field_json=field))
        session.flush()
    return sha256
