"""What was taped on foot or hand, beside what the photographs say of the same."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Literal

import numpy as np

from digitise.output.forms import interval, rounded
from digitise.output.model import form
from digitise.shape.end import EndPart
from digitise.shape.end_figures import end_volume
from digitise.shape.limb import Estimate, Limb, volume
from digitise.tape.ends import taped_end
from digitise.tape.places import AGREES_MM, place_words
from digitise.tape.rows import PlaceGirth

if TYPE_CHECKING:
    from digitise.output.model.measured import Measured

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


def taped_end_form(measured: Measured) -> form.TapedEndForm | None:
    """Return foot or hand by tape alone, beside the photographs; None where its length was not taped."""
    limb = measured.fit.limb
    found = taped_end(measured.places, measured.tape, limb.kind)
    if found is None:
        return None
    taped = None if found.volume_ml is None else Estimate(found.volume_ml, found.sd_ml or 0.0)
    seen = None if found.below_mm is None or taped is None else _seen_below(measured, found.below_mm)
    return form.TapedEndForm(
        part=found.part,
        below_mm=found.below_mm,
        volume_ml=None if taped is None else rounded(taped.mean),
        volume_ml_95=None if taped is None else interval(taped),
        photographs_ml=None if seen is None else rounded(seen.mean),
        photographs_ml_95=None if seen is None else interval(seen),
        note=found.note,
    )


def _seen_below(measured: Measured, height_mm: float) -> Estimate[float] | None:
    """Return the volume of foot and leg below a height by the photographs, mL."""
    if measured.end is None or height_mm > measured.fit.limb.to_mm:
        return None
    return _below(measured.end.part, measured.fit.limb, height_mm)


def _below(end: EndPart, limb: Limb, height_mm: float) -> Estimate[float]:
    lower = end_volume(end, height_mm)
    if height_mm <= end.top_mm:
        return lower
    upper = volume(limb, end.top_mm, height_mm)
    return Estimate(lower.mean + float(upper.mean), float(np.hypot(lower.sd, upper.sd)))


def doubts(rows: Sequence[form.PlaceGirthForm]) -> Iterator[str]:
    """Yield a sentence for each taped place that differs from the photographs."""
    for row in rows:
        words = doubt_words(row)
        if words:
            yield f"{place_words(row.place).capitalize()}: the tape says {row.girth_mm:.0f} mm, {words}."


def doubt_words(row: form.PlaceGirthForm) -> str:
    """Return what to look at where tape and photographs differ; empty where they do not."""
    if row.verdict != "differs" or row.photo_mm is None:
        return ""
    return f"the photographs say {row.photo_mm:.0f} mm: tape it again"


def _seen(segments: Sequence[form.SegmentForm]) -> dict[str, _Seen]:
    """Return girth and interval, mm, by the place where a tape takes the same."""
    found: dict[str, _Seen] = {}
    for part in segments:
        length = "foot-length" if part.name == "foot" else "hand-length"
        told = {
            length: (part.length_mm, part.length_mm_95),
            "ball-of-foot": (part.ball_girth_mm, part.ball_girth_mm_95),
            "heel-instep": (part.heel_instep_girth_mm, part.heel_instep_girth_mm_95),
        }
        for place, (mean, ends) in told.items():
            if mean is not None and ends is not None:
                found[place] = mean, ends
    return found


def _verdict(girth_mm: float, ends: tuple[float, float]) -> Literal["agrees", "differs"]:
    return "agrees" if ends[0] - AGREES_MM <= girth_mm <= ends[1] + AGREES_MM else "differs"
