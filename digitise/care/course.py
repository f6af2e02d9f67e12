"""The course of one limb over its visits: volumes, excess, reductions, rate and verdict.

Intervals of single volumes hold the whole error; those of changes and reductions hold only what differs from
visit to visit (:mod:`digitise.care.visits`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from digitise.care.plateau import Plateau, judge
from digitise.care.reminders import Reminder, reminders
from digitise.care.visits import Reading, RepeatError, VisitVolume, in_order

BILATERAL = "Both limbs are swollen: there is no reference limb, so no excess in percent is given."


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
    excess = first.volume.value - first.reference.value
    if excess <= 0 or not Reading(excess, _sem_of_excess(first, first.reference, error)).clear:
        return "No percent reduction of excess: the first visit shows no clear excess."
    return None


def _point(
    ordered: Sequence[VisitVolume], i: int, error: RepeatError, bilateral: bool, reducible: bool
) -> CoursePoint:
    first, visit = ordered[0], ordered[i]
    excess = None if visit.reference is None else _excess(visit.volume, visit.reference, bilateral)
    if i == 0:
        return CoursePoint(visit, None, None, None, excess, None)
    change = error.change(first, visit)
    return CoursePoint(
        visit,
        change,
        error.change(ordered[i - 1], visit),
        _limb_change(first, visit, change),
        excess,
        _reduction(first, visit, error) if reducible else None,
    )


# ---- formulas ----------------------------------------------------------------------------------------


def _excess(volume: Reading, reference: Reading, bilateral: bool) -> Excess:
    """Return excess and its percentage; both errors count in full, as if nothing in them were shared."""
    ratio = volume.value / reference.value
    relative = math.hypot(volume.sd / volume.value, reference.sd / reference.value)
    return Excess(
        Reading(volume.value - reference.value, math.hypot(volume.sd, reference.sd)),
        None if bilateral else Reading(100 * (ratio - 1), 100 * ratio * relative),
    )


def _limb_change(first: VisitVolume, visit: VisitVolume, change: Reading) -> Reading:
    """Return ``100 (V_t - V_0) / V_0``; an error shared by both visits scales both and drops out."""
    percent = 100 / first.volume.value
    return Reading(change.value * percent, change.sd * percent * visit.volume.value / first.volume.value)


def _sem_of_excess(visit: VisitVolume, reference: Reading, error: RepeatError) -> float:
    return math.hypot(error.sem(visit.volume.value), error.sem(reference.value))


def _reduction(first: VisitVolume, visit: VisitVolume, error: RepeatError) -> Reduction | None:
    """Return both reductions, their sd to first order in the errors of measurement."""
    if first.reference is None:
        return None
    before = first.volume.value - first.reference.value
    left = visit.volume.value - first.reference.value
    current = None
    if visit.reference is not None:
        now = visit.volume.value - visit.reference.value
        share = now / before
        sd = math.hypot(
            _sem_of_excess(visit, visit.reference, error),
            share * _sem_of_excess(first, first.reference, error),
        )
        current = Reading(100 * (1 - share), 100 * sd / before)
    share = left / before
    # d/dV_t = -1, d/dV_0 = share, d/dR_0 = 1 - share, each over the first excess
    parts = (
        error.sem(visit.volume.value),
        share * error.sem(first.volume.value),
        (1 - share) * error.sem(first.reference.value),
    )
    return Reduction(current, Reading(100 * (1 - share), 100 * math.hypot(*parts) / before))
