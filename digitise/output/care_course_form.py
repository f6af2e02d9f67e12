"""course.json: the course of a limb in figures, and what a girth list needs to know of it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Final, Literal

from pydantic import BaseModel, ConfigDict, ValidationError

from digitise import __version__
from digitise.care.course import Course
from digitise.care.course_words import course_dict
from digitise.errors import CourseError
from digitise.output.care_form import now
from digitise.output.cautions import caution, left_out

FORMAT: Final = "limb-course/1"
COURSE_FILE = "course.json"
_LARGEST_BYTES = 20_000_000
_STABLE = {"levelled off (rule of this project)": True, "still shrinking": False, "growing": False}


def course_facts(
    course: Course,
    limb: str,
    side: str,
    *,
    notes: Sequence[str] = (),
    client: str = "",
    created: datetime | None = None,
) -> dict[str, object]:
    """Return what course.json holds.

    Parameters
    ----------
    course
        The course.
    limb, side
        Whose it is.
    notes
        What to know of the visits.
    client
        The client's code; empty when not known.
    created
        When; now when None.
    """
    visit = course.points[-1].visit
    return {
        "format": FORMAT,
        "client": client,
        "limb": limb,
        "side": side,
        "from_mm": visit.from_mm,
        "to_mm": visit.to_mm,
        **course_dict(course),
        "remarks": list(notes),
        "not_included": list(left_out(limb, visit.from_mm, visit.to_mm)),
        "caution": list(caution(limb)),
        "created": (created or now()).isoformat(),
        "software": {"name": "digitise", "version": __version__},
    }


class _Plateau(BaseModel):
    verdict: str


class _Read(BaseModel):
    model_config = ConfigDict(strict=True)

    format: Literal["limb-course/1"]
    limb: str
    side: str
    plateau: _Plateau


def read_stable(path: Path, limb: str, side: str) -> bool | None:
    """Return whether a limb has levelled off by its course.json; None when the course does not know.

    Raises
    ------
    CourseError
        The file cannot be read, is no course.json of this version, or is of another limb.
    """
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST_BYTES)
        found = _Read.model_validate_json(data)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name, or no such JSON
        reason = "it is no course of this version" if isinstance(error, ValidationError) else str(error)
        raise CourseError(
            f"The course cannot be read: {reason}.",
            where=str(path),
            do="Give the course.json that digitise course wrote.",
        ) from error
    if (found.limb, found.side) != (limb, side):
        raise CourseError(
            f"The course is of a {found.side} {found.limb}, the model of a {side} {limb}.",
            where=str(path),
            do="Give the course of this limb.",
        )
    return _STABLE.get(found.plateau.verdict)
