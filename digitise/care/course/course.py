"""The course of one limb over its visits: volumes, excess, reductions, rate and verdict.

Intervals of single volumes hold the whole error; those of changes and reductions hold only what differs from
visit to visit (:mod:`digitise.care.course.visits`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from digitise.care.course.plateau import Plateau, judge
from digitise.care.course.reminders import Reminder, reminders
from digitise.care.course.visits import Reading, RepeatError, VisitVolume, in_order
from digitise.care.excess import (
    BILATERAL,
    Volumes,
    excess,
    excess_volume,
    percent_limb_change,
    percent_reduction_current_reference,
    percent_reduction_fixed_reference,
)
from digitise.shape.limb import Estimate


@dataclass(frozen=True)
class Excess:
    """The limb against the other limb at the same visit.

    Attributes
    ----------
    ml
        Excess volume, mL: affected minus reference.
    percent
        In percent of the reference; None when both limbs are swollen.
    """

    ml: Reading
    percent: Reading | None


@dataclass(frozen=True)
class Reduction:
    """Percent reduction of excess since the first visit, ``100 (EV_0 - EV_t) / EV_0``, in both definitions.

    Attributes
    ----------
    current_reference
        ``EV_t`` against the reference limb as it is at this visit; None when it was not measured.
    baseline_reference
        ``EV_t`` against the reference limb as it was at the first visit.
    """

    current_reference: Reading | None
    baseline_reference: Reading


@dataclass(frozen=True)
class CoursePoint:
    """One visit within the course.

    Attributes
    ----------
    visit
        The visit; its ``volume`` carries the whole error.
    since_first, since_last
        Change of volume, mL; None at the first visit.
    limb_change_percent
        Change since the first visit in percent of the first volume; None at the first visit.
    excess
        None when the other limb was not measured.
    reduction
        None at the first visit, or where ``Course.notes`` tells why.
    """

    visit: VisitVolume
    since_first: Reading | None
    since_last: Reading | None
    limb_change_percent: Reading | None
    excess: Excess | None
    reduction: Reduction | None


@dataclass(frozen=True)
class Course:
    """The course of one limb.

    Attributes
    ----------
    points
        By time.
    error
        Of one measurement against another, as stated by the caller.
    plateau
        The verdict, with the rate per week.
    reminders
        What else differed between visits.
    notes
        What is not given and why.
    """

    points: tuple[CoursePoint, ...]
    error: RepeatError
    plateau: Plateau
    reminders: tuple[Reminder, ...]
    notes: tuple[str, ...]


_STATED = RepeatError()


def course(visits: Iterable[VisitVolume], error: RepeatError = _STATED, *, bilateral: bool = False) -> Course:
    """Return the course of a limb.

    Parameters
    ----------
    visits
        Of one limb, in any order, all volumes between the same heights; the first by time is the baseline.
    error
        What two measurements of an unchanged limb differ by.
    bilateral
        Whether both limbs are swollen, so that no percentage of excess means anything.

    Raises
    ------
    CourseError
        When the visits cannot be put side by side.
    """
    ordered = in_order(visits)
    hidden = _no_reduction(ordered[0], error, bilateral)
    return Course(
        tuple(_point(ordered, i, error, bilateral, hidden is None) for i in range(len(ordered))),
        error,
        judge(ordered, error),
        reminders(ordered),
        tuple(_notes(ordered, hidden)),
    )


def _notes(ordered: Sequence[VisitVolume], hidden: str | None) -> Iterable[str]:
    if hidden:
        yield hidden
    elif without := [visit.name for visit in ordered if visit.reference is None]:
        yield f"The other limb was not measured on {', '.join(without)}."


def _no_reduction(first: VisitVolume, error: RepeatError, bilateral: bool) -> str | None:
    """Return why no reduction of excess can be given; None when it can."""
    if bilateral:
        return BILATERAL
    if first.reference is None:
        return "No percent reduction of excess: the other limb was not measured at the first visit."
    both = _volumes(_repeated(first.volume, error), _repeated(first.reference, error))
    difference = _reading(excess_volume(both))
    if difference.value <= 0 or not difference.clear:
        return "No percent reduction of excess: the first visit shows no clear excess."
    return None


def _point(
    ordered: Sequence[VisitVolume], i: int, error: RepeatError, bilateral: bool, reducible: bool
) -> CoursePoint:
    first, visit = ordered[0], ordered[i]
    over = None if visit.reference is None else _excess(visit.volume, visit.reference, bilateral)
    if i == 0:
        return CoursePoint(visit, None, None, None, over, None)
    change = error.change(first, visit)
    return CoursePoint(
        visit,
        change,
        error.change(ordered[i - 1], visit),
        _limb_change(first, visit, change),
        over,
        _reduction(first, visit, error) if reducible else None,
    )


# ---- formulas ----------------------------------------------------------------------------------------


def _volumes(*readings: Reading) -> Volumes:
    estimates = (Estimate(np.asarray(value), np.asarray(sd)) for value, sd in readings)
    return Volumes.apart(*estimates)


def _reading(estimate: Estimate) -> Reading:
    return Reading(float(estimate.mean), float(estimate.sd))


def _excess(volume: Reading, reference: Reading, bilateral: bool) -> Excess:
    """Return excess and its percentage; both errors count in full, as if nothing in them were shared."""
    found = excess(_volumes(volume, reference), bilateral=bilateral)
    return Excess(_reading(found.excess_ml), None if found.percent is None else _reading(found.percent))


def _limb_change(first: VisitVolume, visit: VisitVolume, change: Reading) -> Reading:
    sd = change.sd / math.sqrt(2)
    both = _volumes(Reading(first.volume.value, sd), Reading(visit.volume.value, sd))
    return _reading(percent_limb_change(both))


def _repeated(reading: Reading, error: RepeatError) -> Reading:
    """Return a volume with the error of repeated measurement alone; a shared one scales all and drops out."""
    return Reading(reading.value, error.sem(reading.value))


def _reduction(first: VisitVolume, visit: VisitVolume, error: RepeatError) -> Reduction | None:
    if first.reference is None:
        return None
    three = [_repeated(reading, error) for reading in (first.volume, first.reference, visit.volume)]
    current = None
    if visit.reference is not None:
        four = _volumes(*three, _repeated(visit.reference, error))
        current = _reading(percent_reduction_current_reference(four))
    return Reduction(current, _reading(percent_reduction_fixed_reference(_volumes(*three))))
