"""Many limbs over time: each one's change since its first visit, and the middle of all by week."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from digitise.care.course.visits import SECONDS_PER_WEEK, RepeatError, VisitVolume
from digitise.shape.limb import Estimate

LEAST_LIMBS = 5
"""Fewer limbs have no median here: a quartile of four values is one of them, and could be one person's."""


@dataclass(frozen=True)
class Change:
    """A limb at one visit against its first.

    Attributes
    ----------
    weeks
        Since the first visit.
    volume_ml
        At this visit.
    change_ml
        This minus the first, with the sd of repeated measurement; 0 without an sd at the first.
    change_percent
        The same in percent of the first volume.
    """

    weeks: float
    volume_ml: float
    change_ml: float
    change_percent: Estimate[float]


@dataclass(frozen=True)
class Week:
    """The limbs of one week.

    Attributes
    ----------
    week
        Whole weeks since each limb's first visit.
    limbs
        How many were measured.
    quartiles
        Lower quartile, median and upper quartile of their changes, percent; None for fewer than
        :data:`LEAST_LIMBS`.
    """

    week: int
    limbs: int
    quartiles: tuple[float, float, float] | None


def changes(visits: Sequence[VisitVolume], error: RepeatError) -> tuple[Change, ...]:
    """Return the change at each visit since the first one given.

    Parameters
    ----------
    visits
        Of one limb between the same heights, oldest first; at least one.
    error
        Of repeated measurement.
    """
    first = visits[0]
    return (
        Change(0.0, first.volume.mean, 0.0, Estimate(0.0, 0.0)),
        *(_change(first, visit, error) for visit in visits[1:]),
    )


def _change(first: VisitVolume, visit: VisitVolume, error: RepeatError) -> Change:
    change, sd = error.change(first, visit)
    share = 100.0 / first.volume.mean
    weeks = (visit.taken - first.taken).total_seconds() / SECONDS_PER_WEEK
    return Change(weeks, visit.volume.mean, change, Estimate(share * change, share * sd))


def by_week(limbs: Iterable[Sequence[Change]]) -> tuple[Week, ...]:
    """Return median and quartiles of the limbs' changes by the nearest whole week.

    A limb with several visits in a week counts once, with their mean.  Quartiles lie between values in
    proportion (the seventh definition of Hyndman and Fan 1996, Am Stat 50:361-365).

    Examples
    --------
    >>> limb = [Change(0.0, 100.0, 0.0, Estimate(0.0, 0.0)), Change(1.2, 90.0, -10.0, Estimate(-10.0, 1.0))]
    >>> by_week([limb] * 5)[1]
    Week(week=1, limbs=5, quartiles=(-10.0, -10.0, -10.0))
    """
    found: dict[int, list[float]] = defaultdict(list)
    for limb in limbs:
        own: dict[int, list[float]] = defaultdict(list)
        for change in limb:
            own[int(np.floor(change.weeks + 0.5))].append(change.change_percent.mean)
        for week, values in own.items():
            found[week].append(float(np.mean(values)))
    return tuple(Week(week, len(found[week]), _quartiles(found[week])) for week in sorted(found))


def _quartiles(values: Sequence[float]) -> tuple[float, float, float] | None:
    if len(values) < LEAST_LIMBS:
        return None
    low, middle, high = (float(value) for value in np.quantile(values, (0.25, 0.5, 0.75)))
    return low, middle, high
