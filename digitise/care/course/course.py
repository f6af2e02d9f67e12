"""The course of one limb over its visits: volumes, excess, reductions, rate and verdict.

Intervals of single volumes hold the whole error; those of changes and reductions hold only what differs from
visit to visit (:mod:`digitise.care.course.visits`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from digitise.care.course.plateau import Plateau, judge
from digitise.care.course.reminders import Reminder, reminders
from digitise.care.course.visits import RepeatError, VisitVolume, in_order
from digitise.care.excess import (
    BILATERAL,
    Excess,
    Volumes,
    excess,
    excess_volume,
    percent_reduction_current_reference,
    percent_reduction_fixed_reference,
)
from digitise.shape.limb import Estimate


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

    current_reference: Estimate[float] | None
    baseline_reference: Estimate[float]


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
    since_first: Estimate[float] | None
    since_last: Estimate[float] | None
    limb_change_percent: Estimate[float] | None
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
    both = Volumes.apart(_repeated(first.volume, error), _repeated(first.reference, error))
    difference = excess_volume(both)
    if difference.mean <= 0:
        return "No percent reduction of excess: the first visit shows none."
    if not difference.clear:
        return "No percent reduction of excess: the first visit's lies within the error of a repeat."
    return None


def _point(
    ordered: Sequence[VisitVolume], i: int, error: RepeatError, bilateral: bool, reducible: bool
) -> CoursePoint:
    first, visit = ordered[0], ordered[i]
    over = None
    if visit.reference is not None:
        # but for the scale of the sheets, both errors count in full, as if nothing in them were shared
        pair = Volumes.alike((visit.volume, visit.reference), visit.common_sd_ml)
        over = excess(pair, bilateral=bilateral)
    if i == 0:
        return CoursePoint(visit, None, None, None, over, None)
    change = error.change(first, visit)
    return CoursePoint(
        visit,
        change,
        error.change(ordered[i - 1], visit),
        _percent_of(first, change),
        over,
        _reduction(first, visit, error) if reducible else None,
    )


# ---- formulas ----------------------------------------------------------------------------------------


def _percent_of(first: VisitVolume, change: Estimate[float]) -> Estimate[float]:
    """Return a change in percent of the first volume; it is clear where the change is, in mL."""
    share = 100.0 / first.volume.mean
    return Estimate(share * change.mean, share * change.sd)


def _repeated(reading: Estimate[float], error: RepeatError) -> Estimate[float]:
    """Return a volume with the error of repeated measurement alone; a shared one scales all and drops out."""
    return Estimate(reading.mean, error.sem(reading.mean))


def _reduction(first: VisitVolume, visit: VisitVolume, error: RepeatError) -> Reduction | None:
    if first.reference is None:
        return None
    three = [_repeated(reading, error) for reading in (first.volume, first.reference, visit.volume)]
    current = None
    if visit.reference is not None:
        four = Volumes.apart(*three, _repeated(visit.reference, error))
        current = percent_reduction_current_reference(four)
    return Reduction(current, percent_reduction_fixed_reference(Volumes.apart(*three)))
