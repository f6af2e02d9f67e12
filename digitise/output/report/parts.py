"""Girths, change and course as a report states them, rounded as they are printed."""

from __future__ import annotations

from datetime import datetime
from typing import cast

import numpy as np

from digitise.care.change.compare import Change, VolumeChange, girth_change
from digitise.care.course.course import Course
from digitise.care.course.visits import Reading
from digitise.geometry.rigid import Array
from digitise.output.model.file import StoredModel
from digitise.output.model.form import TapeCheckForm
from digitise.output.report import form
from digitise.shape.limb import Estimate, girth

GIRTH_STEP_MM = 40.0
_SAME_MM = 0.5


def figure(reading: Reading | Estimate, digits: int = 0) -> form.FigureForm:
    """Return a figure rounded as it is printed."""
    low, high = reading.interval_95
    return form.FigureForm(
        value=rounded(float(reading[0]), digits),
        interval_95=(rounded(float(low), digits), rounded(float(high), digits)),
    )


def rounded(value: float, digits: int) -> float:
    """Round for people."""
    # adding zero turns -0.0 into 0.0
    return round(value, digits) + 0.0


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


def _girth_changes(change: Change | None, z: Array) -> dict[float, tuple[Estimate, str]]:
    if change is None:
        return {}
    inside = z[(z >= change.joint.low) & (z <= change.joint.high)]
    found = girth_change(change.joint, inside)
    each = zip(inside, *found.change_mm, found.verdict, strict=True)
    return {float(at): (Estimate(mean, sd), verdict) for at, mean, sd, verdict in each}


def _girth_row(
    height: float, value: Estimate, tape: TapeCheckForm | None, change: tuple[Estimate, str] | None
) -> form.GirthRowForm:
    difference = None if tape is None else tape.difference_mm
    return form.GirthRowForm(
        height_mm=round(height),
        girth_mm=figure(value),
        tape_mm=None if tape is None else rounded(tape.tape_mm, 0),
        tape_minus_photographs_mm=None if difference is None else rounded(difference, 0),
        tape_verdict=None if tape is None else tape.verdict,
        change_mm=None if change is None else figure(change[0]),
        change_verdict=None if change is None else _said(change[1]),
    )


def _said(verdict: str) -> form.Verdict:
    return cast(form.Verdict, verdict)


def change_form(change: Change, since: datetime, until: datetime) -> form.ChangeForm:
    """Return the change of volume in all and by stretch."""
    return form.ChangeForm(
        since=since,
        until=until,
        whole=_part(change.whole),
        parts=tuple(_part(part) for part in change.parts),
    )


def _part(part: VolumeChange) -> form.PartForm:
    return form.PartForm(
        name=part.stretch.name,
        from_mm=round(part.stretch.low),
        to_mm=round(part.stretch.high),
        change_ml=figure(part.change_ml),
        change_percent=figure(part.percent, 1),
        verdict=_said(part.verdict),
    )


def course_form(found: Course) -> form.CourseForm:
    """Return verdict, rate and remarks of a course."""
    rate = found.plateau.rate
    remarks = (*found.plateau.missing, *found.notes, *(reminder.text for reminder in found.reminders))
    return form.CourseForm(
        verdict=found.plateau.verdict,
        rule=found.plateau.rule,
        percent_per_week=None if rate is None else figure(rate.percent_per_week, 1),
        repeat_error_percent=rounded(found.error.sem_percent, 1),
        smallest_clear_change_percent=rounded(found.error.mdc95_percent, 1),
        remarks=remarks,
    )
