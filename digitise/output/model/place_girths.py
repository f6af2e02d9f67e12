"""Girths taped on foot or hand, beside what the photographs say of the same places."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from digitise.output.forms import rounded
from digitise.output.model import form
from digitise.tape.places import AGREES_MM
from digitise.tape.rows import PlaceGirth

_Seen = tuple[float, tuple[float, float]]


def place_girths(
    places: Sequence[PlaceGirth], segments: Sequence[form.SegmentForm]
) -> Iterator[form.PlaceGirthForm]:
    """Yield each taped girth beside that of the photographs, where they show the place.

    Parameters
    ----------
    places
        As taped.
    segments
        What was measured beyond the straight limb.
    """
    seen = _seen(segments)
    for row in places:
        photo, ends = seen.get(row.place, (None, None))
        yield form.PlaceGirthForm(
            place=row.place,
            girth_mm=rounded(row.girth_mm),
            height_mm=None if row.height_mm is None else rounded(row.height_mm),
            photo_mm=photo,
            photo_mm_95=ends,
            difference_mm=None if photo is None else rounded(row.girth_mm - photo),
            verdict="not seen" if ends is None else _verdict(row.girth_mm, ends),
        )


def doubt_words(row: form.PlaceGirthForm) -> str:
    """Return what to look at where tape and photographs differ; empty where they do not."""
    if row.verdict != "differs" or row.photo_mm is None:
        return ""
    return f"the photographs say {row.photo_mm:.0f} mm: tape it again"


def _seen(segments: Sequence[form.SegmentForm]) -> dict[str, _Seen]:
    """Return girth and interval, mm, by the place where a tape takes the same."""
    found: dict[str, _Seen] = {}
    for part in segments:
        found["ball-of-foot"] = part.ball_girth_mm, part.ball_girth_mm_95
        found["heel-instep"] = part.heel_instep_girth_mm, part.heel_instep_girth_mm_95
    return found


def _verdict(girth_mm: float, ends: tuple[float, float]) -> Literal["agrees", "differs"]:
    return "agrees" if ends[0] - AGREES_MM <= girth_mm <= ends[1] + AGREES_MM else "differs"
