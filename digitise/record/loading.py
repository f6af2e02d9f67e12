"""Reading from a transaction that someone else opened."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from types import MappingProxyType
from typing import cast

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, undefer

from digitise.anatomy import LimbKind, Side
from digitise.errors import RecordError
from digitise.record.rows import clearance_of, digest, place_girth, tape_row, time_of
from digitise.record.tables import (
    ClientRow,
    CorrectionRow,
    FieldRow,
    LimbRow,
    ModelRow,
    PhotographRow,
    PlaceGirthRow,
    TapeRowRow,
    VisitPhotographRow,
    VisitRow,
)
from digitise.record.values import (
    Client,
    CodedVisit,
    MeasuredVisit,
    ModelFiles,
    Posture,
    StoredPhoto,
    Visit,
    VisitId,
    VisitLine,
)
from digitise.tape.rows import TapeRow

_LARGEST_ID = 2**31 - 1
_AT_ONCE = 100
"""Visits whose models are in memory at a time."""
_CLOCK = (VisitRow.taken_utc, VisitRow.offset_minutes)


def clients(session: Session) -> tuple[Client, ...]:
    """Return all clients by their code."""
    query = (
        select(ClientRow.code, func.count(), func.min(VisitRow.taken_utc), func.max(VisitRow.taken_utc))
        .join(LimbRow, LimbRow.client_id == ClientRow.id)
        .join(VisitRow, VisitRow.limb_id == LimbRow.id)
        .group_by(ClientRow.code)
        .order_by(ClientRow.code)
    )
    return tuple(
        Client(code, count, time_of(first), time_of(last))
        for code, count, first, last in session.execute(query)
    )


def visit_lines(session: Session, code: str | None) -> tuple[VisitLine, ...]:
    """Return the visits of a client, or of all, oldest first.

    Raises
    ------
    RecordError
        There is no such client.
    """
    photos = select(func.count()).where(VisitPhotographRow.visit_id == VisitRow.id).scalar_subquery()
    query = (
        select(VisitRow.id, ClientRow.code, LimbRow.kind, LimbRow.side, *_CLOCK, photos)
        .add_columns(exists().where(ModelRow.visit_id == VisitRow.id))
        .join(LimbRow, VisitRow.limb_id == LimbRow.id)
        .join(ClientRow, LimbRow.client_id == ClientRow.id)
        .order_by(VisitRow.taken_utc, VisitRow.id)
    )
    if code is not None:
        query = query.where(ClientRow.code == code)
    lines = tuple(
        VisitLine(VisitId(row[0]), row[1], row[2], row[3], time_of(row[4], row[5]), row[6], bool(row[7]))
        for row in session.execute(query)
    )
    if code is not None and not lines:
        raise nothing(f"client {code}")
    return lines


def measured_visits(session: Session, code: str) -> tuple[MeasuredVisit, ...]:
    """Return the visits of a client that have a model, oldest first.

    Raises
    ------
    RecordError
        There is no such client, or none of the visits has a model.
    ValueError
        The text of a model is not the one that was stored.
    """
    query = (
        select(VisitRow.id, LimbRow.kind, LimbRow.side, *_CLOCK, VisitRow.posture, VisitRow.measured_by)
        .add_columns(ModelRow.model_json, ModelRow.json_sha256)
        .join(LimbRow, VisitRow.limb_id == LimbRow.id)
        .join(ClientRow, LimbRow.client_id == ClientRow.id)
        .join(ModelRow, ModelRow.visit_id == VisitRow.id)
        .where(ClientRow.code == code)
        .order_by(VisitRow.taken_utc, VisitRow.id)
    )
    found = tuple(
        MeasuredVisit(
            VisitId(number),
            LimbKind(kind),
            Side(side),
            time_of(utc, offset),
            cast(Posture, posture),
            measured_by,
            _sound_text(text, sha256),
        )
        for number, kind, side, utc, offset, posture, measured_by, text, sha256 in session.execute(query)
    )
    if not found:
        raise nothing(f"a measured visit of client {code}")
    return found


def coded_visits(session: Session) -> Iterator[CodedVisit]:
    """Yield all visits, limb after limb of each client, oldest first, a few in memory at a time.

    Raises
    ------
    ValueError
        The text of a model is not the one that was stored.
    """
    photos = select(func.count()).where(VisitPhotographRow.visit_id == VisitRow.id).scalar_subquery()
    query = (
        # by columns: what no study may have is not even read
        select(VisitRow.id, ClientRow.code, LimbRow.kind, LimbRow.side, *_CLOCK, VisitRow.posture)
        .add_columns(VisitRow.measured_by, photos)
        .join(LimbRow, VisitRow.limb_id == LimbRow.id)
        .join(ClientRow, LimbRow.client_id == ClientRow.id)
        .order_by(ClientRow.code, LimbRow.kind, LimbRow.side, VisitRow.taken_utc, VisitRow.id)
    )
    for part in session.execute(query.execution_options(yield_per=_AT_ONCE)).partitions():
        ids = [row[0] for row in part]
        tape, models = _tape_rows(session, ids), _model_texts(session, ids)
        for number, code, kind, side, utc, offset, posture, measured_by, count in part:
            yield CodedVisit(
                VisitId(number),
                code,
                LimbKind(kind),
                Side(side),
                time_of(utc, offset),
                cast(Posture, posture),
                measured_by,
                count,
                tuple(tape[number]),
                models.get(number),
            )


def _tape_rows(session: Session, visits: list[int]) -> dict[int, list[TapeRow]]:
    found: dict[int, list[TapeRow]] = defaultdict(list)
    query = select(TapeRowRow).where(TapeRowRow.visit_id.in_(visits)).order_by(TapeRowRow.number)
    for reading in session.scalars(query):
        found[reading.visit_id].append(tape_row(reading))
    return found


def _model_texts(session: Session, visits: list[int]) -> dict[int, str]:
    query = select(ModelRow.visit_id, ModelRow.model_json, ModelRow.json_sha256)
    return {
        number: _sound_text(text, sha256)
        for number, text, sha256 in session.execute(query.where(ModelRow.visit_id.in_(visits)))
    }


def find_visit(session: Session, visit_id: VisitId) -> tuple[VisitRow, LimbRow, str]:
    """Return the row of a visit, its limb's, and the client's code.

    Raises
    ------
    RecordError
        There is no such visit.
    """
    query = (
        select(VisitRow, LimbRow, ClientRow.code)
        .join(LimbRow, VisitRow.limb_id == LimbRow.id)
        .join(ClientRow, LimbRow.client_id == ClientRow.id)
        .where(VisitRow.id == visit_id)
    )
    found = session.execute(query).one_or_none() if 0 < visit_id <= _LARGEST_ID else None
    if found is None:
        raise nothing(f"visit {visit_id}")
    row, limb, code = found
    return row, limb, code


def visit(session: Session, visit_id: VisitId) -> Visit:
    """Return one visit.

    Raises
    ------
    RecordError
        There is no such visit.
    """
    row, limb, code = find_visit(session, visit_id)
    tape = session.scalars(select(TapeRowRow).filter_by(visit_id=visit_id).order_by(TapeRowRow.number))
    places = session.scalars(
        select(PlaceGirthRow).filter_by(visit_id=visit_id).order_by(PlaceGirthRow.number)
    )
    corrections = select(CorrectionRow).filter_by(visit_id=visit_id).order_by(CorrectionRow.number)
    return Visit(
        id=visit_id,
        client=code,
        limb=LimbKind(limb.kind),
        side=Side(limb.side),
        taken=time_of(row.taken_utc, row.offset_minutes),
        tape=tuple(tape_row(reading) for reading in tape),
        places=tuple(place_girth(reading) for reading in places),
        photos=_photos(session, visit_id),
        corrections=MappingProxyType(
            {item.number: item.correction_json for item in session.scalars(corrections)}
        ),
        lens_json=row.lens_json,
        field_sha256=row.field_sha256,
        model_sha256=session.scalar(select(ModelRow.sha256).filter_by(visit_id=visit_id)),
        posture=cast(Posture, row.posture),
        measured_by=row.measured_by,
        note=row.note,
        clearance=clearance_of(row),
    )


def photo(session: Session, visit_id: VisitId, number: int) -> bytes:
    """Return the stripped JPEG file of a photograph (1-based).

    Raises
    ------
    RecordError
        There is no such photograph.
    ValueError
        Its bytes are not those that were stored.
    """
    find_visit(session, visit_id)
    query = (
        select(PhotographRow)
        .options(undefer(PhotographRow.jpeg))
        .join(VisitPhotographRow, VisitPhotographRow.sha256 == PhotographRow.sha256)
        .where(VisitPhotographRow.visit_id == visit_id, VisitPhotographRow.number == number)
    )
    row = session.scalar(query) if 0 < number <= _LARGEST_ID else None
    if row is None:
        raise nothing(f"photograph {number} of visit {visit_id}")
    if digest(row.jpeg) != row.sha256:
        raise ValueError("bytes do not match their digest")
    return row.jpeg


def model(session: Session, visit_id: VisitId) -> ModelFiles:
    """Return the model of a visit.

    Raises
    ------
    RecordError
        There is none.
    ValueError
        Its bytes are not those that were stored.
    """
    find_visit(session, visit_id)
    whole = (undefer(ModelRow.model_json), undefer(ModelRow.limb_npz))
    row = session.scalar(select(ModelRow).options(*whole).filter_by(visit_id=visit_id))
    if row is None:
        raise nothing(f"model of visit {visit_id}")
    if digest(row.model_json.encode(), row.limb_npz) != row.sha256:
        raise ValueError("bytes do not match their digest")
    return ModelFiles(_sound_text(row.model_json, row.json_sha256), row.limb_npz)


def field(session: Session, visit_id: VisitId) -> str:
    """Return the text of the field.json that was stored with a visit.

    Raises
    ------
    RecordError
        There is none.
    ValueError
        Its text is not the one that was stored.
    """
    row, _, _ = find_visit(session, visit_id)
    text = session.scalar(select(FieldRow.field_json).filter_by(sha256=row.field_sha256))
    if text is None:
        raise nothing(f"marker field of visit {visit_id}")
    return _sound_text(text, row.field_sha256)


def _sound_text(text: str, sha256: str | None) -> str:
    if digest(text.encode()) != sha256:
        raise ValueError("text does not match its digest")
    return text


def nothing(what: str) -> RecordError:
    """Return the error of something that is not stored."""
    return RecordError("This is not in the records.", where=what, do="See: digitise record list")


def _photos(session: Session, visit_id: VisitId) -> tuple[StoredPhoto, ...]:
    query = (
        select(VisitPhotographRow.number, PhotographRow.sha256, func.length(PhotographRow.jpeg))
        .join(PhotographRow, VisitPhotographRow.sha256 == PhotographRow.sha256)
        .where(VisitPhotographRow.visit_id == visit_id)
        .order_by(VisitPhotographRow.number)
    )
    return tuple(StoredPhoto(*row) for row in session.execute(query))
