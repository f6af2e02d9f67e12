"""Volumes and girths between common heights from the figures of model.json, without the limb's shape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from scipy.interpolate import CubicSpline

from digitise.output.model.form import ModelForm
from digitise.shape.limb import MM3_PER_ML, Z95, Estimate
from digitise.tape.places import is_length

GIRTH_STEP_MM = 40.0
_SAME_MM = 0.01


def stored_volume(model: ModelForm, low: float, high: float) -> Estimate[float]:
    """Return the volume between two heights within the model's, mL.

    The stated areas are integrated as a cubic spline of height.  The sd is that part of the whole volume's
    which the areas' sds have between these heights.
    """
    sd = (model.volume_ml_95[1] - model.volume_ml_95[0]) / (2 * Z95)
    if abs(low - model.from_mm) < _SAME_MM and abs(high - model.to_mm) < _SAME_MM:
        return Estimate(model.volume_ml, sd)
    z = np.array([section.height_mm for section in model.sections])
    area = CubicSpline(z, [section.area_mm2 for section in model.sections])
    spread = CubicSpline(z, [end - start for start, end in (s.area_mm2_95 for s in model.sections)])
    share = float(spread.integrate(low, high)) / float(spread.integrate(z[0], z[-1]))
    return Estimate(float(area.integrate(low, high)) / MM3_PER_ML, sd * max(share, 0.0))


def common_sds(one: ModelForm, other: ModelForm, low: float, high: float) -> tuple[float, float]:
    """Return the parts of the sds of two stored volumes that are one error in both, mL.

    That is the scale of the printed sheets, where both limbs were measured on the same.
    """
    if one.field_sha256 is None or one.field_sha256 != other.field_sha256:
        return 0.0, 0.0
    first, second = (
        (model.volume_print_sd_ml or 0.0) * stored_volume(model, low, high).mean / model.volume_ml
        for model in (one, other)
    )
    return first, second


def stored_ends(model: ModelForm, low: float) -> dict[str, Estimate[float]]:
    """Return the volumes, mL, of what was measured below a height within the model's, by name."""
    found: dict[str, Estimate[float]] = {}
    for part in model.segments:
        sd = (part.volume_ml_95[1] - part.volume_ml_95[0]) / (2 * Z95)
        between = low - model.from_mm > _SAME_MM
        more = stored_volume(model, model.from_mm, low) if between else Estimate(0.0, 0.0)
        found[part.name] = Estimate(part.volume_ml + more.mean, float(np.hypot(sd, more.sd)))
    return found


def repeated_ends(models: Sequence[ModelForm], low: float) -> Mapping[str, tuple[float, ...]]:
    """Return the volumes, mL, of what all of some models measured below a height, by name."""
    ends = [stored_ends(model, low) for model in models]
    held = [name for name in ends[0] if all(name in one for one in ends)]
    return MappingProxyType({name: tuple(one[name].mean for one in ends) for name in held})


def stored_places(model: ModelForm) -> dict[str, float]:
    """Return girths taped on foot or hand, mm, by the name of the place; lengths do not swell."""
    return {row.place: row.girth_mm for row in model.place_girths if not is_length(row.place)}


def stored_girths(model: ModelForm, low: float, high: float) -> dict[float, Estimate[float]]:
    """Return girths, mm, by height at the multiples of 40 mm between two heights."""
    return {
        section.height_mm: Estimate(
            section.girth_mm, (section.girth_mm_95[1] - section.girth_mm_95[0]) / (2 * Z95)
        )
        for section in model.sections
        if low <= section.height_mm <= high and section.height_mm % GIRTH_STEP_MM < _SAME_MM
    }
