"""Writing a visit into a transaction that someone else opened and ends."""

from __future__ import annotations

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from digitise.errors import RecordError
from digitise.record import loading
from digitise.record.check import ReadyVisit
from digitise.record.loading import find_visit
from digitise.record.rows import correction_row, digest, part_rows, visit_row
from digitise.record.tables import (
    ClientRow,
    CorrectionRow,
    FieldRow,
    LimbRow,
    ModelRow,
    PhotographRow,
    TapeRowRow,
    VisitPhotographRow,
    VisitRow,
)
from digitise.record.values import VisitId


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
    _add_parts(session, ready, row.id)
    return VisitId(row.id)


def overwrite_visit(session: Session, visit_id: VisitId, ready: ReadyVisit, seen: str | None) -> None:
    """Put a visit with all that hangs on it in the place of a stored one of the same client.

    Raises
    ------
    RecordError
        There is no such visit, it is of another client, its state is not the one ``seen``, or a photograph
        belongs to another client.
    """
    # of two people who change it at once, the second waits here and then finds it changed
    session.execute(select(VisitRow.id).filter_by(id=visit_id).with_for_update())
    if seen is not None and loading.visit(session, visit_id).state != seen:
        raise RecordError(
            f"Visit {visit_id} was changed by someone else since it was opened.",
            where="visit",
            do="Open it again and make the change there; what you typed stays among the unsaved visits.",
        )
    _, _, client = find_visit(session, visit_id)
    if client != ready.client:
        raise RecordError(
            f"Visit {visit_id} is of client {client}.",
            where="client",
            do="Give the visit this client's code.",
        )
    limb = _limb(session, ready)
    _keep_photographs(session, ready, limb.client_id)
    row = visit_row(ready, limb.id, _keep_field(session, ready.visit.field_json))
    row.id = visit_id
    for table in (CorrectionRow, VisitPhotographRow, TapeRowRow, ModelRow):
        session.execute(delete(table).where(table.visit_id == visit_id))
    session.merge(row)
    session.flush()
    _add_parts(session, ready, visit_id)
    _remove_unused(session, limb.client_id)


def _add_parts(session: Session, ready: ReadyVisit, visit_id: int) -> None:
    session.add_all(part_rows(ready, visit_id))
    session.flush()
    session.add_all(correction_row(visit_id, *item) for item in ready.visit.corrections.items())
    session.flush()


def _remove_unused(session: Session, client_id: int) -> None:
    """Remove what no visit needs any more: a client's photographs and limbs, and marker fields."""
    shown = select(VisitPhotographRow.sha256)
    session.execute(
        delete(PhotographRow).where(PhotographRow.client_id == client_id, PhotographRow.sha256.not_in(shown))
    )
    measured = select(VisitRow.limb_id)
    session.execute(delete(LimbRow).where(LimbRow.client_id == client_id, LimbRow.id.not_in(measured)))
    used = select(VisitRow.field_sha256).where(VisitRow.field_sha256.is_not(None))
    session.execute(delete(FieldRow).where(FieldRow.sha256.not_in(used)))


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
