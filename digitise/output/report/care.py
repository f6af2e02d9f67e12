"""Places for padding, the wrap and the garment list of one limb, as a report states them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.care.course.course import Course
from digitise.care.padding.regions import ADVICE, HIDDEN, PEAK_MEANS, Region
from digitise.care.wrap.garment import girth_list
from digitise.care.wrap.plan import Plan
from digitise.care.wrap.sheet import LayerNeed, WrapSheet, wrap_sheet
from digitise.output.report import form
from digitise.shape.limb import Z95, Limb

PRESSURE_STEP_MM = 100.0
PRESSURE = (
    "Relative pressure is the mean Laplace pressure under the planned tensions over that at the lowest "
    "pressed height. It is an estimate: it leaves out padding, movement and the hand that wraps, and sensors "
    "have read up to 42 % less (Garrigues-Ramón et al. 2021, J Wound Care 30(4):276-282)."
)
PLACES = f"The places are a suggestion from shape alone for a trained person. {HIDDEN}"


def place_forms(regions: Sequence[Region]) -> tuple[form.PlaceForm, ...]:
    """Return places of a limb as a report states them, in their order."""
    return tuple(_place(region) for region in regions)


def _figure(value: float, sd: float) -> form.FigureForm:
    low, high = value - Z95 * sd, value + Z95 * sd
    return form.FigureForm(value=round(value) + 0.0, interval_95=(round(low) + 0.0, round(high) + 0.0))


def _place(region: Region) -> form.PlaceForm:
    sd = region.volume_sd_ml
    known = region.volume_ml is not None and sd is not None
    return form.PlaceForm(
        kind=region.kind,
        place=region.place,
        from_mm=round(region.from_mm),
        to_mm=round(region.to_mm),
        area_cm2=round(region.area_cm2),
        peak_mm=_figure(region.peak_mm, region.peak_sd_mm),
        peak_means=PEAK_MEANS[region.kind],
        volume_ml=_figure(region.volume_ml, sd) if known else None,  # type: ignore[arg-type]
        confidence=region.confidence,
        advice=ADVICE[region.kind],
    )


def wrap_form(limb: Limb, plan: Plan | None) -> form.WrapForm:
    """Return a wrap worked out for a limb; the plan is suggested from its shape when None.

    Raises
    ------
    PlanError
        When the plan does not fit the limb.
    """
    sheet = wrap_sheet(limb, plan)
    return form.WrapForm(
        layers=tuple(_layer(need) for need in sheet.needs),
        rolls=tuple((round(width), count) for width, count in sheet.rolls),
        relative_pressure=_pressures(sheet),
        warnings=tuple(warning.text for warning in sheet.warnings),
        note=sheet.plan.note,
    )


def _layer(need: LayerNeed) -> form.LayerForm:
    layer = need.layer
    return form.LayerForm(
        name=layer.name or layer.kind,
        width_mm=round(layer.width_mm),
        from_mm=round(layer.from_mm),
        to_mm=round(layer.to_mm),
        overlap_percent=round(100 * layer.overlap),
        turns=round(need.turns, 1),
        stretched_mm=round(need.stretched_mm, -1),
        rest_mm=round(need.rest_mm, -1),
        rolls=need.rolls,
    )


def _pressures(sheet: WrapSheet) -> tuple[tuple[float, float], ...]:
    heights = PRESSURE_STEP_MM * np.arange(
        np.ceil(sheet.z[0] / PRESSURE_STEP_MM), np.floor(sheet.z[-1] / PRESSURE_STEP_MM) + 1
    )
    return tuple(
        (float(at), round(float(value), 2))
        for at, value in zip(heights, np.interp(heights, sheet.z, sheet.relative), strict=True)
    )


def garment_form(limb: Limb, followed: Course) -> form.GarmentForm:
    """Return the girth list of a limb.

    Raises
    ------
    PlanError
        When the course says that the limb still changes.
    """
    verdict = followed.plateau.verdict
    stable = {"levelled off (rule of this project)": True, "still shrinking": False, "growing": False}
    found = girth_list(limb, stable=stable.get(verdict))
    return form.GarmentForm(
        rows=tuple(
            form.GarmentRowForm(
                letter=entry.letter,
                place=entry.place,
                height_mm=round(entry.height_mm),
                girth_mm=form.FigureForm(
                    value=round(entry.girth_mm) + 0.0,
                    interval_95=(round(entry.girth_95[0]) + 0.0, round(entry.girth_95[1]) + 0.0),
                ),
                note=entry.note,
            )
            for entry in found.entries
        ),
        missing=found.missing,
        notes=found.notes,
    )
