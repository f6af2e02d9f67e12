"""Volumes and girths between common heights from the figures of model.json, without the limb's shape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from scipy.interpolate import CubicSpline

from digitise.geometry.rigid import Array
from digitise.output.model.form import ModelForm
from digitise.shape.limb import MM3_PER_ML, Z95, Estimate
from digitise.tape.places import is_length

GIRTH_STEP_MM = 40.0
_SAME_MM = 0.01
_NO_ERROR = 1e-9
# without it, sds over parts of six legs were 0.81 to 1.02 of those that the limbs themselves say
_NOT_STATED = 1.15


def stored_volume(model: ModelForm, low: float, high: float) -> Estimate[float]:
    """Return the volume between two heights within the model's, mL.

    The stated areas are integrated as a cubic spline of height.  The errors of the stretches go together as
    the model says; within one stretch errors are taken as one.
    """
    if abs(low - model.from_mm) < _SAME_MM and abs(high - model.to_mm) < _SAME_MM:
        return Estimate(model.volume_ml, _half(model.volume_ml_95) / Z95)
    z = np.array([section.height_mm for section in model.sections])
    area = CubicSpline(z, [section.area_mm2 for section in model.sections])
    shares = _shares(model, low, high)
    variance = float(shares @ _covariance(model) @ shares)
    return Estimate(float(area.integrate(low, high)) / MM3_PER_ML, float(np.sqrt(max(variance, 0.0))))


def _half(interval: tuple[float, float]) -> float:
    return (interval[1] - interval[0]) / 2


def _shares(model: ModelForm, low: float, high: float) -> Array:
    """Return which part of each stretch's error (N,) arises between two heights, by its areas' errors."""
    z = np.array([section.height_mm for section in model.sections])
    spread = CubicSpline(z, [_half(section.area_mm2_95) for section in model.sections])
    found = []
    for part in model.stretches:
        start, end = max(low, part.from_mm), min(high, part.to_mm)
        inside = float(spread.integrate(start, end)) if end > start else 0.0
        # without any error there is none to share
        found.append(inside / max(float(spread.integrate(part.from_mm, part.to_mm)), _NO_ERROR))
    return np.clip(found, 0.0, 1.0)


def _covariance(model: ModelForm) -> Array:
    """Return how the volumes of the stretches vary together, (N, N) mL^2.

    Where an earlier version did not state it, all pairs go together alike, as much as the whole's error says,
    and a little is added: neighbours go together more.
    """
    if model.stretch_errors is not None:
        return np.array(model.stretch_errors.covariance_ml2)
    sd = np.array([_half(part.volume_ml_95) / Z95 for part in model.stretches])
    own, whole = float(np.sum(sd**2)), (_half(model.volume_ml_95) / Z95) ** 2
    pairs = float(np.sum(sd)) ** 2 - own
    alike = np.clip((whole - own) / pairs, 0.0, 1.0) if pairs > 0 else 1.0
    return _NOT_STATED**2 * np.outer(sd, sd) * (alike + (1.0 - alike) * np.eye(len(sd)))


def common_sds(one: ModelForm, other: ModelForm, low: float, high: float) -> tuple[float, float]:
    """Return the parts of the sds of two stored volumes that are one error in both, mL.

    That is the scale of the printed sheets, where both limbs were measured on the same.
    """
    if one.field_sha256 is None or one.field_sha256 != other.field_sha256:
        return 0.0, 0.0
    return _print_sd(one, low, high), _print_sd(other, low, high)


def _print_sd(model: ModelForm, low: float, high: float) -> float:
    if model.stretch_errors is not None:
        return abs(float(_shares(model, low, high) @ np.array(model.stretch_errors.print_ml)))
    return (model.volume_print_sd_ml or 0.0) * stored_volume(model, low, high).mean / model.volume_ml


def stored_ends(model: ModelForm, low: float) -> dict[str, Estimate[float]]:
    """Return the volumes, mL, of what was measured below a height within the model's, by name."""
    found: dict[str, Estimate[float]] = {}
    for part in model.segments:
        sd = _half(part.volume_ml_95) / Z95
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
        section.height_mm: Estimate(section.girth_mm, _half(section.girth_mm_95) / Z95)
        for section in model.sections
        if low <= section.height_mm <= high and section.height_mm % GIRTH_STEP_MM < _SAME_MM
    }
