"""Writing a visit into a transaction that someone else opened and ends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from digitise.anatomy import LimbKind, Side
from digitise.errors import RecordError
from digitise.record import loading
from digitise.record.check import ReadyVisit
from digitise.record.history.values import Mend
from digitise.record.loading import find_visit
from digitise.record.rows import (
    correction_row,
    digest,
    history_row,
    offset_minutes,
    part_rows,
    time_of,
    utc_text,
    visit_row,
)
from digitise.record.safety.answers import hand_over
from digitise.record.tables import (
    ClientRow,
    CorrectionRow,
    FieldRow,
    HistoryRow,
    LimbRow,
    ModelRow,
    PhotographRow,
    PlaceGirthRow,
    TapeRowRow,
    VisitPhotographRow,
    VisitRow,
)
from digitise.record.values import Visit, VisitId


def save_visit(session: Session, ready: ReadyVisit) -> VisitId:
    """Add a visit with all that hangs on it.

    Raises
    ------
    RecordError
        A photograph belongs to another client.
    """
    limb = _limb(session, ready.client, ready.visit.limb, ready.visit.side)
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
    hold_visit(session, visit_id, seen)
    _, _, client = find_visit(session, visit_id)
    if client != ready.client:
        raise RecordError(
            f"Visit {visit_id} is of client {client}.",
            where="client",
            do="Give the visit this client's code.",
        )
    before = loading.visit(session, visit_id)
    limb = _limb(session, ready.client, ready.visit.limb, ready.visit.side)
    _keep_photographs(session, ready, limb.client_id)
    row = visit_row(ready, limb.id, _keep_field(session, ready.visit.field_json))
    row.id = visit_id
    for table in (CorrectionRow, VisitPhotographRow, TapeRowRow, PlaceGirthRow, ModelRow):
        session.execute(delete(table).where(table.visit_id == visit_id))
    session.merge(row)
    session.flush()
    _add_parts(session, ready, visit_id)
    session.expire_all()
    after = loading.visit(session, visit_id)
    session.add_all(
        history_row(limb.client_id, visit_id, *line, ready.measured_by)
        for line in _differences(before, after)
    )
    remove_unused(session, limb.client_id)


def _differences(before: Visit, after: Visit) -> Iterator[tuple[Mend, str, str]]:
    """Yield what a change of a visit tells its history."""
    if before.taken != after.taken:
        yield "date", _minute(before.taken), _minute(after.taken)
    limbs = [f"{visit.side} {visit.limb}" for visit in (before, after)]
    if limbs[0] != limbs[1]:
        yield "limb", limbs[0], limbs[1]
    if replace(before, taken=after.taken, side=after.side, limb=after.limb) != after:
        yield "changed", "", ""


def _minute(time: datetime) -> str:
    return time.isoformat(timespec="minutes")


def hold_visit(session: Session, visit_id: VisitId, seen: str | None) -> None:
    """Keep others from changing a visit until the transaction ends.

    Raises
    ------
    RecordError
        There is no such visit, or its state is not the one ``seen``.
    """
    # of two people who change it at once, the second waits here and then finds it changed
    session.execute(select(VisitRow.id).filter_by(id=visit_id).with_for_update())
    if seen is not None and loading.visit(session, visit_id).state != seen:
        raise RecordError(
            f"Visit {visit_id} was changed by someone else since it was opened.",
            where="visit",
            do="Open it again and make the change there; what you typed stays among the unsaved visits.",
        )


def mend_visit(
    session: Session, visit_id: VisitId, taken: datetime | None, code: str | None, by: str, seen: str | None
) -> None:
    """Mend a visit's time and its client, each with a line of history; None leaves one as it is.

    Raises
    ------
    RecordError
        There is no such visit, its state is not the one ``seen``, or one of its photographs stands in another
        visit of its client too.
    """
    hold_visit(session, visit_id, seen)
    row, limb, client = find_visit(session, visit_id)
    before = time_of(row.taken_utc, row.offset_minutes)
    if taken is not None and taken != before:
        row.taken_utc, row.offset_minutes = utc_text(taken), offset_minutes(taken)
        session.add(history_row(limb.client_id, visit_id, "date", _minute(before), _minute(taken), by))
    if code is not None and code != client:
        _give(session, row, limb, code, by)
    session.flush()


def _give(session: Session, visit: VisitRow, old: LimbRow, code: str, by: str) -> None:
    """Give a visit, its photographs and its history to another code; neither code's lines name the other."""
    giver = old.client_id
    _refuse_shared(session, visit.id)
    limb = _limb(session, code, LimbKind(old.kind), Side(old.side))
    visit.limb_id = limb.id
    theirs = select(VisitPhotographRow.sha256).filter_by(visit_id=visit.id)
    session.execute(
        update(PhotographRow).where(PhotographRow.sha256.in_(theirs)).values(client_id=limb.client_id)
    )
    session.execute(
        update(HistoryRow).where(HistoryRow.visit_id == visit.id).values(client_id=limb.client_id)
    )
    session.add(history_row(limb.client_id, visit.id, "taken-over", "", "", by))
    session.flush()
    remove_unused(session, giver)
    if session.scalar(select(LimbRow.id).filter_by(client_id=giver).limit(1)) is None:
        hand_over(session, giver, limb.client_id)
    # a code that was mistyped, and under which nothing else is kept, is none of a client
    if session.scalar(select(LimbRow.id).filter_by(client_id=giver).limit(1)) is None and (
        session.scalar(select(HistoryRow.id).filter_by(client_id=giver).limit(1)) is None
    ):
        session.execute(delete(ClientRow).where(ClientRow.id == giver))
    else:
        session.add(history_row(giver, visit.id, "given", "", "", by))


def _refuse_shared(session: Session, visit_id: int) -> None:
    mine = select(VisitPhotographRow.sha256).filter_by(visit_id=visit_id)
    other = session.scalar(
        select(VisitPhotographRow.visit_id)
        .where(VisitPhotographRow.sha256.in_(mine), VisitPhotographRow.visit_id != visit_id)
        .limit(1)
    )
    if other is not None:
        raise RecordError(
            f"A photograph of visit {visit_id} stands in visit {other} of the same client too.",
            where="client",
            do=f"Take it out of visit {other} first, or give that visit the other code too.",
        )


def _add_parts(session: Session, ready: ReadyVisit, visit_id: int) -> None:
    session.add_all(part_rows(ready, visit_id))
    session.flush()
    session.add_all(correction_row(visit_id, *item) for item in ready.visit.corrections.items())
    session.flush()


def remove_unused(session: Session, client_id: int) -> None:
    """Remove what no visit needs any more: a client's photographs and limbs, and marker fields."""
    shown = select(VisitPhotographRow.sha256)
    session.execute(
        delete(PhotographRow).where(PhotographRow.client_id == client_id, PhotographRow.sha256.not_in(shown))
    )
    measured = select(VisitRow.limb_id)
    session.execute(delete(LimbRow).where(LimbRow.client_id == client_id, LimbRow.id.not_in(measured)))
    used = select(VisitRow.field_sha256).where(VisitRow.field_sha256.is_not(None))
    session.execute(delete(FieldRow).where(FieldRow.sha256.not_in(used)))


def _limb(session: Session, code: str, kind: LimbKind, side: Side) -> LimbRow:
    client = session.scalar(select(ClientRow).filter_by(code=code))
    if client is None:
        client = ClientRow(code=code)
        session.add(client)
        session.flush()
    which = {"client_id": client.id, "kind": kind, "side": side}
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
