"""Whether the figures of model.json are those that were written, and those of its limb."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from digitise.errors import DigitiseError, ModelError
from digitise.output.model.form import ModelForm, SectionForm
from digitise.output.model.stretches import StretchErrorsForm, stretch_errors
from digitise.output.model.summarise import CONE_REACH_MM
from digitise.shape.end import EndPart
from digitise.shape.end_figures import end_volume
from digitise.shape.limb import Estimate, Limb, Section, girth, print_sd, sections, volume
from digitise.tape.rows import TapeRow
from digitise.tape.volumes import cone_volume_ml

# figures in model.json are rounded to a thousandth
_ROUNDED = 0.002
# an earlier version may have derived a figure a little otherwise; its limb is the same to the last bit
_OTHERWISE = 0.005
_INTERVAL_RATIO = 2.0
_AGAIN = "Measure the visit again from its photographs, or restore the folder from a backup."


def seal_of(content: Mapping[str, Any]) -> str:
    """Return the digest of all of a model.json save its ``seal``; see :class:`ModelForm`."""
    rest = {name: value for name, value in content.items() if name != "seal"}
    return hashlib.sha256(json.dumps(rest, sort_keys=True, separators=(",", ":")).encode()).hexdigest()


def check_same(limb: Limb, end: EndPart | None, summary: ModelForm, where: str) -> None:
    """Refuse figures that are not those of the limb and its foot or hand.

    Heights, girths, the volume and the print's part in it must be equal.  Of a file without a seal, from an
    earlier version, everything else that follows from the limb, the tape rows or the findings is derived
    again and must be near; no such version measured a foot or hand.

    Parameters
    ----------
    limb, end
        What limb.npz holds.
    summary
        The content of model.json.
    where
        Their folder, for messages.

    Raises
    ------
    ModelError
        Some figure is another.
    """
    try:
        same = (
            _is_of(limb, summary)
            and _has_end(end, summary)
            and (summary.seal is not None or all(_derived_again(limb, summary)))
        )
    except DigitiseError as error:
        raise ModelError(error.what, where=where, do=_AGAIN) from error
    if not same:
        raise ModelError(
            "The figures in model.json are not those of the limb in limb.npz.", where=where, do=_AGAIN
        )


def _is_of(limb: Limb, summary: ModelForm) -> bool:
    heights = np.array([section.height_mm for section in summary.sections])
    stated = np.array([section.girth_mm for section in summary.sections])
    levels = np.array([summary.from_mm, summary.to_mm, heights[0], heights[-1]])
    own = np.array([limb.from_mm, limb.to_mm, limb.from_mm, limb.to_mm])
    whole = float(volume(limb, limb.from_mm, limb.to_mm).mean)
    return bool(
        np.allclose(levels, own, rtol=0.0, atol=_ROUNDED)
        and np.allclose(girth(limb, np.clip(heights, *own[:2])).mean, stated, rtol=1e-6, atol=_ROUNDED)
        and np.isclose(whole, summary.volume_ml, rtol=1e-6, atol=_ROUNDED)
        and np.isclose(
            print_sd(limb, limb.from_mm, limb.to_mm), summary.volume_print_sd_ml or 0.0, atol=_ROUNDED
        )
    )


def _has_end(end: EndPart | None, summary: ModelForm) -> bool:
    if end is None or len(summary.segments) != 1:
        return end is None and not summary.segments and summary.volume_ml_whole is None
    (stated,) = summary.segments
    whole = summary.volume_ml_whole or 0.0
    return _near(end_volume(end).mean, stated.volume_ml) and _near(
        summary.volume_ml + stated.volume_ml, whole
    )


def _derived_again(limb: Limb, summary: ModelForm) -> Iterator[bool]:
    yield not summary.segments and not summary.place_girths and summary.taped_end is None
    own = sections(limb)
    yield len(own) == len(summary.sections)
    for section, stated in zip(own, summary.sections, strict=False):
        yield _is_section(section, stated)
    yield _holds(volume(limb, limb.from_mm, limb.to_mm), summary.volume_ml_95)
    for part in summary.stretches:
        low, high = max(part.from_mm, limb.from_mm), min(part.to_mm, limb.to_mm)
        yield low < high
        yield _near(volume(limb, low, high).mean, part.volume_ml) and _holds(
            volume(limb, low, high), part.volume_ml_95
        )
    if summary.stretch_errors is not None:
        yield _are_errors(stretch_errors(limb), summary.stretch_errors)
    rows = tuple(TapeRow(row.height_mm, row.tape_mm) for row in summary.tape_check)
    if summary.cone_volume_ml is not None:
        yield _near(cone_volume_ml(rows, limb.from_mm, limb.to_mm, CONE_REACH_MM), summary.cone_volume_ml)
    # every finding that is more than a note is among the warnings, and so is a missing sum of cones
    said = {warning.code for warning in summary.warnings}
    yield {finding.code for finding in summary.findings if finding.severity != "note"} <= said
    yield summary.cone_volume_ml is not None or "no-cones" in said


def _are_errors(own: StretchErrorsForm, stated: StretchErrorsForm) -> bool:
    return own.count == stated.count and bool(
        np.allclose(own.covariance_ml2, stated.covariance_ml2, rtol=1e-6, atol=_ROUNDED)
        and np.allclose(own.print_ml, stated.print_ml, rtol=1e-6, atol=_ROUNDED)
    )


def _is_section(own: Section, stated: SectionForm) -> bool:
    return (
        abs(own.height_mm - stated.height_mm) <= _ROUNDED
        and _near(own.area.mean, stated.area_mm2)
        and _near(own.width.mean, stated.width_mm)
        and _near(own.depth.mean, stated.depth_mm)
        and bool(np.allclose(own.centre_mm, stated.centre_mm, rtol=0.0, atol=1.0))
        and _holds(own.area, stated.area_mm2_95)
        and _holds(own.girth, stated.girth_mm_95)
    )


def _near(own: object, stated: float) -> bool:
    return bool(np.isclose(float(np.float64(own)), stated, rtol=_OTHERWISE, atol=_ROUNDED))  # type: ignore[arg-type]


def _holds(own: Estimate, stated: tuple[float, float]) -> bool:
    """Tell whether an interval lies about the value and is about as wide as it should be."""
    low, high = own.interval_95
    wide, own_wide = stated[1] - stated[0], float(high) - float(low)
    middle = abs(sum(stated) / 2 - float(own.mean)) <= _OTHERWISE * abs(float(own.mean)) + _ROUNDED
    return (
        middle and own_wide / _INTERVAL_RATIO <= wide + _ROUNDED <= own_wide * _INTERVAL_RATIO + 2 * _ROUNDED
    )
