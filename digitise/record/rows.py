"""Values become rows, and rows values."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from typing import cast

from digitise.record.check import ReadyVisit, staff_code
from digitise.record.history.values import Mend
from digitise.record.tables import (
    Base,
    CorrectionRow,
    HistoryRow,
    ModelRow,
    PlaceGirthRow,
    TapeRowRow,
    VisitPhotographRow,
    VisitRow,
)
from digitise.record.values import Answer, Clearance, ModelFiles
from digitise.tape.rows import PlaceGirth, TapeRow


def utc_text(time: datetime) -> str:
    """Return a time as it is stored, such as 2026-03-02T09:15:00Z."""
    return f"{time.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def offset_minutes(time: datetime) -> int:
    """Return how far a time's clock is before UTC."""
    return int((time.utcoffset() or timedelta()).total_seconds()) // 60


def time_of(stored: str, offset_minutes: int = 0) -> datetime:
    """Return a stored time on the clock of where it was taken."""
    return datetime.fromisoformat(stored).astimezone(timezone(timedelta(minutes=offset_minutes)))


def digest(*parts: bytes) -> str:
    """Return the hex SHA-256 of the parts, one after the other."""
    return hashlib.sha256(b"".join(parts)).hexdigest()


def visit_row(ready: ReadyVisit, limb_id: int, field_sha256: str | None) -> VisitRow:
    """Return the row of a visit itself."""
    visit, clearance = ready.visit, ready.visit.clearance
    return VisitRow(
        limb_id=limb_id,
        taken_utc=utc_text(visit.taken),
        offset_minutes=offset_minutes(visit.taken),
        posture=visit.posture,
        measured_by=ready.measured_by,
        note=visit.note,
        clearance_answer=clearance.answer,
        clearance_by=staff_code(clearance.by, "clearance"),
        clearance_utc=None if clearance.when is None else utc_text(clearance.when),
        red_flags_json=json.dumps(dict(clearance.red_flags)),
        field_sha256=field_sha256,
        lens_json=visit.lens_json,
    )


def part_rows(ready: ReadyVisit, visit_id: int) -> Iterator[Base]:
    """Yield the rows that hang on a visit, its photographs' bytes excepted."""
    visit = ready.visit
    for number, row in enumerate(visit.tape, start=1):
        yield TapeRowRow(
            visit_id=visit_id,
            number=number,
            height_mm=row.height_mm,
            girth_mm=row.girth_mm,
            line=row.line,
            point=row.point,
        )
    for number, taped in enumerate(visit.places, start=1):
        yield PlaceGirthRow(
            visit_id=visit_id,
            number=number,
            place=taped.place,
            girth_mm=taped.girth_mm,
            height_mm=taped.height_mm,
            line=taped.line,
        )
    for number, sha256 in enumerate(ready.photos, start=1):
        yield VisitPhotographRow(visit_id=visit_id, number=number, sha256=sha256)
    if visit.model is not None:
        yield model_row(visit.model, visit_id)


def model_row(model: ModelFiles, visit_id: int) -> ModelRow:
    """Return the row of a model."""
    sha256 = digest(model.json.encode(), model.limb)
    return ModelRow(
        visit_id=visit_id,
        sha256=sha256,
        json_sha256=digest(model.json.encode()),
        model_json=model.json,
        limb_npz=model.limb,
    )


def correction_row(visit_id: int, number: int, text: str) -> CorrectionRow:
    """Return the row of a correction."""
    return CorrectionRow(visit_id=visit_id, number=number, correction_json=text)


def history_row(client_id: int, visit_id: int, what: Mend, was: str, became: str, by: str) -> HistoryRow:
    """Return the row of a line that is written now."""
    return HistoryRow(
        client_id=client_id,
        visit_id=visit_id,
        done_utc=utc_text(datetime.now(UTC)),
        what=what,
        was=was,
        became=became,
        done_by=by,
    )


def tape_row(row: TapeRowRow) -> TapeRow:
    """Return the reading that a row holds."""
    return TapeRow(row.height_mm, row.girth_mm, row.line, row.point)


def place_girth(row: PlaceGirthRow) -> PlaceGirth:
    """Return the reading on foot or hand that a row holds."""
    return PlaceGirth(row.place, row.girth_mm, row.line, row.height_mm)


def clearance_of(row: VisitRow) -> Clearance:
    """Return the clearance that a visit's row holds."""
    return Clearance(
        answer=cast(Answer, row.clearance_answer),
        by=row.clearance_by,
        when=None if row.clearance_utc is None else time_of(row.clearance_utc),
        red_flags=tuple(json.loads(row.red_flags_json).items()),
    )
