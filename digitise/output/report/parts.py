"""Girths, change, course, places, wrap and garment as a report states them, rounded as printed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np

from digitise.care.change.compare import Change, ChangeVerdict, VolumeChange, girth_change
from digitise.care.change.end import EndChange
from digitise.care.course.course import Course
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.padding.regions import ADVICE, HIDDEN, PEAK_MEANS
from digitise.care.wrap.garment import GirthList
from digitise.care.wrap.plan import LayerKind
from digitise.care.wrap.sheet import LayerNeed, WrapSheet
from digitise.geometry.rigid import Array
from digitise.output.change.form import VERDICTS
from digitise.output.course.words import VERDICTS as COURSE_VERDICTS
from digitise.output.forms import FigureForm, rounded
from digitise.output.model.file import StoredModel
from digitise.output.model.form import ModelForm, PlaceGirthForm, TapeCheckForm
from digitise.output.model.place_girths import doubt_words
from digitise.output.model.segments import segment_girths
from digitise.output.report import form
from digitise.output.wrap.form import end_notes
from digitise.shape.limb import Z95, AnyEstimate, Estimate, girth
from digitise.tape.places import place_words

GIRTH_STEP_MM = 40.0
_SAME_MM = 0.5
PRESSURE_STEP_MM = 100.0
PRESSURE = (
    "Relative pressure is the mean Laplace pressure under the planned tensions over that at the ankle or "
    "wrist, or at the lowest pressed height where neither was measured. It is an estimate: of padding it "
    "knows the thickness alone, nothing of movement and of the hand that wraps, and sensors have read up to "
    "42 % less (Garrigues-Ramón et al. 2021, J Wound Care 30(4):276-282)."
)
PLACES = f"The places are a suggestion from shape alone for a trained person. {HIDDEN}"


def foot_form(summary: ModelForm) -> form.FootForm | None:
    """Return the foot of a visit and what it makes with its leg; None where it was not measured."""
    told = _end(summary, "foot")
    return None if told is None else form.FootForm.model_validate(told)


def hand_form(summary: ModelForm) -> form.HandForm | None:
    """Return the hand of a visit and what it makes with its arm; None where it was not measured."""
    told = _end(summary, "hand")
    return None if told is None else form.HandForm.model_validate(told)


def _end(summary: ModelForm, name: str) -> dict[str, object] | None:
    part = next((part for part in summary.segments if part.name == name), None)
    if part is None or summary.volume_ml_whole is None or summary.volume_ml_whole_95 is None:
        return None
    girths = {name: _stated(mean, ends) for name, mean, ends in segment_girths(part)}
    return {
        "to_mm": round(part.to_mm),
        "volume_ml": _stated(part.volume_ml, part.volume_ml_95),
        "whole_ml": _stated(summary.volume_ml_whole, summary.volume_ml_whole_95),
        "whole_to_mm": round(summary.to_mm),
        **{f"{name.replace(' and ', '_')}_girth_mm": girth for name, girth in girths.items()},
    }


def place_rows(summary: ModelForm) -> tuple[form.PlaceRowForm, ...]:
    """Return the girths that were taped on foot or hand."""
    return tuple(map(_place_row, summary.place_girths))


def _place_row(row: PlaceGirthForm) -> form.PlaceRowForm:
    return form.PlaceRowForm(
        name=row.place,
        place=place_words(row.place),
        tape_mm=rounded(row.girth_mm, 0),
        photographs_mm=_stated_or_none(row.photo_mm, row.photo_mm_95),
        verdict=row.verdict,
    )


def taped_end_row(summary: ModelForm) -> form.TapedEndRowForm | None:
    """Return what the tape alone says of foot or hand; None where its length was not taped."""
    end = summary.taped_end
    if end is None:
        return None
    taped, seen = (end.volume_ml, end.volume_ml_95), (end.photographs_ml, end.photographs_ml_95)
    return form.TapedEndRowForm(
        part=end.part,
        below_mm=end.below_mm,
        volume_ml=_stated_or_none(*taped),
        photographs_ml=_stated_or_none(*seen),
        note=end.note,
    )


def _stated_or_none(value: float | None, ends: tuple[float, float] | None) -> FigureForm | None:
    return None if value is None or ends is None else _stated(value, ends)


def _stated(value: float, ends: tuple[float, float]) -> FigureForm:
    return figure(Estimate(value, (ends[1] - ends[0]) / (2 * Z95)))


def figure(estimate: AnyEstimate, digits: int = 0) -> FigureForm:
    """Return a figure rounded as it is printed."""
    low, high = estimate.interval_95
    return FigureForm(
        value=rounded(float(estimate.mean), digits),
        interval_95=(rounded(float(low), digits), rounded(float(high), digits)),
    )


def multiples(low: float, high: float) -> Array:
    """Return the multiples of 40 mm between two heights."""
    return GIRTH_STEP_MM * np.arange(np.ceil(low / GIRTH_STEP_MM), np.floor(high / GIRTH_STEP_MM) + 1)


def girth_rows(model: StoredModel, change: Change | None) -> tuple[form.GirthRowForm, ...]:
    """Return rows every 40 mm, at both ends, and wherever there is a tape row within the limb."""
    limb, checks = model.limb, model.summary.tape_check
    tape = {check.height_mm: check for check in checks if limb.from_mm <= check.height_mm <= limb.to_mm}
    wanted = [*tape, limb.from_mm, limb.to_mm, *multiples(limb.from_mm, limb.to_mm)]
    heights: list[float] = []
    for height in sorted(wanted, key=lambda at: (at not in tape, at)):
        if all(abs(height - other) > _SAME_MM for other in heights):
            heights.append(float(height))
    heights.sort()
    z = np.array(heights)
    rows = [Estimate(*pair) for pair in zip(*girth(limb, z), strict=True)]
    changes = _girth_changes(change, z)
    return tuple(
        _girth_row(height, row, tape.get(height), changes.get(height))
        for height, row in zip(heights, rows, strict=True)
    )


def _girth_changes(change: Change | None, z: Array) -> dict[float, tuple[Estimate, ChangeVerdict]]:
    if change is None:
        return {}
    inside = z[(z >= change.joint.low) & (z <= change.joint.high)]
    found = girth_change(change.joint, inside)
    each = zip(inside, *found.change_mm, found.verdict, strict=True)
    return {float(at): (Estimate(mean, sd), verdict) for at, mean, sd, verdict in each}


def _girth_row(
    height: float, value: Estimate, tape: TapeCheckForm | None, change: tuple[Estimate, ChangeVerdict] | None
) -> form.GirthRowForm:
    difference = None if tape is None else tape.difference_mm
    return form.GirthRowForm(
        height_mm=round(height),
        girth_mm=figure(value),
        tape_mm=None if tape is None else rounded(tape.tape_mm, 0),
        tape_minus_photographs_mm=None if difference is None else rounded(difference, 0),
        tape_verdict=None if tape is None else tape.verdict,
        change_mm=None if change is None else figure(change[0]),
        change_verdict=None if change is None else VERDICTS[change[1]],
    )


def change_form(change: Change, end: EndChange | None, since: datetime, until: datetime) -> form.ChangeForm:
    """Return the change of volume in all, by segment, and of foot or hand."""
    return form.ChangeForm(
        since=since,
        until=until,
        whole=_part(*change.whole.segment, change.whole),
        parts=tuple(_part(*part.segment, part) for part in change.parts),
        end=None if end is None else _part(end.name, 0.0, end.below_mm, end),
    )


def _part(name: str, low: float, high: float, change: VolumeChange | EndChange) -> form.PartForm:
    return form.PartForm(
        name=name,
        from_mm=round(low),
        to_mm=round(high),
        change_ml=figure(change.change_ml),
        change_percent=figure(change.percent, 1),
        verdict=VERDICTS[change.verdict],
    )


def course_form(found: Course) -> form.CourseForm:
    """Return verdict, rate and remarks of a course."""
    rate = found.plateau.rate
    remarks = (*found.plateau.missing, *found.notes, *(reminder.text for reminder in found.reminders))
    return form.CourseForm(
        verdict=COURSE_VERDICTS[found.plateau.verdict],
        rule=found.plateau.rule,
        percent_per_week=None if rate is None else figure(rate.percent_per_week, 1),
        repeat_error_percent=rounded(found.error.sem_percent, 1),
        smallest_clear_change_percent=rounded(found.error.mdc95_percent, 1),
        remarks=remarks,
    )


# ---- places, wrap, garment ---------------------------------------------------------------------------


def place_forms(regions: Sequence[Region], feet: Sequence[FootPlace] = ()) -> tuple[form.PlaceForm, ...]:
    """Return places of a limb and its foot as a report states them, in their order."""
    return (*map(_place, regions), *map(_foot_place, feet))


def _foot_place(place: FootPlace) -> form.PlaceForm:
    return form.PlaceForm(
        kind=place.kind,
        place=place.place,
        from_mm=None,
        to_mm=None,
        area_cm2=round(place.area_cm2),
        peak_mm=_figure(place.peak_mm, place.peak_sd_mm),
        peak_means=PEAK_MEANS[place.kind],
        volume_ml=_figure(place.volume_ml, place.volume_sd_ml),
        confidence=place.confidence,
        advice=ADVICE[place.kind],
    )


def _figure(value: float, sd: float) -> FigureForm:
    low, high = value - Z95 * sd, value + Z95 * sd
    return FigureForm(value=round(value) + 0.0, interval_95=(round(low) + 0.0, round(high) + 0.0))


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


def wrap_form(sheet: WrapSheet) -> form.WrapForm:
    """Return a wrap worked out for a limb, as a report states it."""
    return form.WrapForm(
        layers=tuple(_layer(need) for need in sheet.needs),
        rolls=_rolls(sheet, "bandage"),
        padding_rolls=_rolls(sheet, "padding"),
        end_notes=end_notes(sheet),
        relative_pressure=_pressures(sheet),
        warnings=tuple(warning.text for warning in sheet.warnings),
        note=sheet.plan.note,
    )


def _rolls(sheet: WrapSheet, kind: LayerKind) -> tuple[tuple[float, int], ...]:
    return tuple((round(rolls.width_mm), rolls.rolls) for rolls in sheet.rolls if rolls.kind == kind)


def _layer(need: LayerNeed) -> form.LayerForm:
    layer = need.layer
    return form.LayerForm(
        name=layer.name or layer.kind,
        width_mm=round(layer.width_mm),
        from_mm=round(layer.from_mm),
        to_mm=round(layer.to_mm),
        from_toes=need.end == "foot",
        from_knuckles=need.end == "hand",
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
        (float(at) + 0.0, round(float(value), 2))  # no minus before a zero
        for at, value in zip(heights, np.interp(heights, sheet.z, sheet.relative), strict=True)
    )


def garment_form(found: GirthList, taped: Sequence[PlaceGirthForm] = ()) -> form.GarmentForm:
    """Return a girth list as a report states it, with the girths that were taped on foot or hand."""
    return form.GarmentForm(
        rows=tuple(
            form.GarmentRowForm(
                letter=entry.letter,
                place=entry.place,
                height_mm=round(entry.height_mm),
                girth_mm=FigureForm(
                    value=round(entry.girth_mm) + 0.0,
                    interval_95=(round(entry.girth_95[0]) + 0.0, round(entry.girth_95[1]) + 0.0),
                ),
                note=entry.note,
            )
            for entry in found.entries
        ),
        taped=tuple(
            form.TapedRowForm(
                place=place_words(row.place), girth_mm=rounded(row.girth_mm, 0), note=doubt_words(row)
            )
            for row in taped
        ),
        missing=found.missing,
        notes=found.notes,
    )
