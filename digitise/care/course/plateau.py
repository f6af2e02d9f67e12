"""Whether a limb still shrinks, has levelled off, or grows.

No published stopping rule with numbers is known to us.  The rule here is proposed by this project: (i) the
last step is no larger than repeats differ by, (ii) the rate over the last visits is shown to be within one
percent per week by an equivalence test, its 90 % interval lies within, and (iii) no girth has clearly
changed.  A small rate that is merely uncertain fails (ii); water that only moves along the limb fails (iii).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import Enum
from typing import Literal

import numpy as np

from digitise.care.course.visits import SECONDS_PER_WEEK, RepeatError, VisitVolume, in_order, weeks
from digitise.errors import CourseError
from digitise.shape.limb import Estimate


class CourseVerdict(Enum):
    """Where a limb goes."""

    SHRINKING = "shrinking"
    GROWING = "growing"
    LEVELLED_OFF = "levelled off"
    NO_DIRECTION = "no direction"
    TOO_FEW_VISITS = "too few visits"


RULE = "Proposed rule of this project; the therapist decides."
LEAST_VISITS = 3
WINDOW_DAYS = 7.0
FIRST_WEEK_DAYS = 7.0
LEVEL_PERCENT_PER_WEEK = 1.0
"""A limb that changes by less than this counts as level: a garment worn for weeks stands it (ours)."""
# Two one-sided tests at 5 % each are what a 90 % interval within the limits is (D. J. Schuirmann, Journal of
# Pharmacokinetics and Biopharmaceutics 1987, 15(6):657-680, from memory).
_Z90 = 1.6449
# The last step is one of many looks at the limb: only what two readings differ by once in a hundred speaks.
_Z99 = 2.5758
# With this sd or a smaller one a level limb passes nine times in ten: the window reaches no further back.
_SURE_SD = LEVEL_PERCENT_PER_WEEK / (2 * _Z90)
# Of a shorter time an error of measurement, and how a limb swells in a day, carried on to a week, would be
# tens of percent.
_LEAST_RATE_DAYS = 3.0
# weekly visits are rarely at the same hour
_DAY_SLACK = 0.5


@dataclass(frozen=True)
class Rate:
    """Straight line through the volumes of some visits.

    Attributes
    ----------
    ml_per_week, percent_per_week
        Slope, and in percent of the mean volume of these visits.
    visits
        How many.
    since, until
        Times of the first and last.
    """

    ml_per_week: Estimate[float]
    percent_per_week: Estimate[float]
    visits: int
    since: datetime
    until: datetime


@dataclass(frozen=True)
class Condition:
    """One part of the rule: whether it holds (None when it cannot be judged), in words."""

    code: Literal["steps", "rate", "girths"]
    met: bool | None
    text: str


@dataclass(frozen=True)
class Plateau:
    """The verdict and what it rests on.

    Attributes
    ----------
    verdict
        Where the limb goes.
    conditions
        The parts of the rule; without enough visits the last step alone, and nothing of a single visit.
    missing
        What is missing for "levelled off", or was not judged, one sentence an item.
    rate
        Over the window, or over all visits while there are not enough; None where all lie within three days.
    rule
        Whose rule this is.
    """

    verdict: CourseVerdict
    conditions: tuple[Condition, ...]
    missing: tuple[str, ...]
    rate: Rate | None
    rule: str = RULE

    @property
    def stable(self) -> bool | None:
        """Whether the limb holds its size, see :func:`holds_size`."""
        return holds_size(self.verdict, [(one.code, one.met) for one in self.conditions])


def holds_size(verdict: CourseVerdict, conditions: Iterable[tuple[str, bool | None]]) -> bool | None:
    """Tell whether a limb holds its size, so that a garment can be ordered; None when it is not known.

    Of too few visits nothing tells that it does, but a last step that is larger than repeats differ by tells
    that it does not.

    Parameters
    ----------
    verdict
        Of the rule.
    conditions
        Code of each part of the rule that was judged, and whether it holds.

    Examples
    --------
    >>> holds_size(CourseVerdict.LEVELLED_OFF, [("steps", True), ("rate", True)])
    True
    >>> holds_size(CourseVerdict.TOO_FEW_VISITS, [("steps", False)])
    False

    Two visits that differ by no more than repeats do tell nothing:

    >>> holds_size(CourseVerdict.TOO_FEW_VISITS, [("steps", True)]) is None
    True
    """
    if verdict is CourseVerdict.TOO_FEW_VISITS and ("steps", False) in conditions:
        return False
    if verdict in (CourseVerdict.NO_DIRECTION, CourseVerdict.TOO_FEW_VISITS):
        return None
    return verdict is CourseVerdict.LEVELLED_OFF


def weekly_rate(visits: Iterable[VisitVolume], error: RepeatError) -> Rate:
    """Return the weighted least-squares rate of change, with the error of measurement alone.

    The weights come from the covariance of the changes since the first visit; errors that all visits share
    leave the slope untouched.  The interval tells how well the mean rate over these visits is known; it does
    not tell how the limb will go on.

    Raises
    ------
    CourseError
        See :func:`in_order` and :meth:`RepeatError.covariance`; also for a single visit.
    """
    ordered = in_order(visits)
    if len(ordered) < 2:
        raise CourseError("A single visit has no rate.", where=ordered[0].name, do="Give another visit.")
    time = weeks(ordered)[1:]
    change = np.array([visit.volume.mean for visit in ordered[1:]]) - ordered[0].volume.mean
    weighted = np.linalg.solve(error.covariance(ordered), time)
    information = float(weighted @ time)
    slope = Estimate(float(weighted @ change) / information, 1 / math.sqrt(information))
    percent = 100 / float(np.mean([visit.volume.mean for visit in ordered]))
    return Rate(
        slope,
        Estimate(slope.mean * percent, slope.sd * percent),
        len(ordered),
        ordered[0].taken,
        ordered[-1].taken,
    )


def judge(visits: Iterable[VisitVolume], error: RepeatError) -> Plateau:
    """Return whether the limb shrinks, has levelled off or grows.

    The window is the last three visits, or as many more as it takes to reach back seven days and to know the
    rate well enough.  The first visit has a say only where the first week, which carries most of the fall,
    brought no clear change; three visits must lie after it.  "Levelled off" needs all parts of the rule.
    "Still shrinking" and "growing" need a clear rate, or else girths that clearly changed one way.

    Parameters
    ----------
    visits
        Of one limb, in any order; the first counts as the start of the treatment.
    error
        Of one measurement against another.

    Notes
    -----
    How often it errs: ``tests/plateau_rates.py`` prints it, the guide has the table.
    """
    ordered = in_order(visits)
    window = _window(ordered, error)
    short = _too_few(ordered) or (_close_together(ordered) if window is None else ())
    apart = _days(ordered[0], ordered[-1]) >= _LEAST_RATE_DAYS
    rate = weekly_rate(window or ordered, error) if apart else None
    if short or rate is None or window is None:
        step = (_last_step(ordered, error),) if len(ordered) > 1 else ()
        return Plateau(CourseVerdict.TOO_FEW_VISITS, step, short, rate)
    girths, girth_signs = _girths(window)
    conditions = (_last_step(window, error), _slow(rate, error), girths)
    missing = tuple(condition.text for condition in conditions if not condition.met)
    if all(condition.met is not False for condition in conditions):
        return Plateau(CourseVerdict.LEVELLED_OFF, conditions, missing, rate)
    # a single step has no say: of seven daily ones, one is often large by chance
    signs = {_sign(rate.ml_per_week)} if rate.ml_per_week.clear else girth_signs
    directions: dict[frozenset[int], CourseVerdict] = {
        frozenset({-1}): CourseVerdict.SHRINKING,
        frozenset({1}): CourseVerdict.GROWING,
    }
    return Plateau(directions.get(frozenset(signs), CourseVerdict.NO_DIRECTION), conditions, missing, rate)


def _sign(reading: Estimate[float]) -> int:
    return 1 if reading.mean > 0 else -1


def _days(earlier: VisitVolume, later: VisitVolume) -> float:
    return (later.taken - earlier.taken).total_seconds() / 86400


def _window(ordered: Sequence[VisitVolume], error: RepeatError) -> Sequence[VisitVolume] | None:
    """Return the last visits that the rule looks at; None where three do not reach back seven days."""
    fell = len(ordered) > 1 and _first_week_changed(ordered, error)
    window = None
    for start in range(len(ordered) - LEAST_VISITS, int(fell) - 1, -1):
        if _days(ordered[start], ordered[-1]) < WINDOW_DAYS - _DAY_SLACK:
            continue
        window = ordered[start:]
        if weekly_rate(window, error).percent_per_week.sd <= _SURE_SD:
            break
    return window


def _first_week_changed(ordered: Sequence[VisitVolume], error: RepeatError) -> bool:
    after = [visit for visit in ordered[1:] if _days(ordered[0], visit) >= FIRST_WEEK_DAYS - _DAY_SLACK]
    return bool(after and error.change(ordered[0], after[0]).clear)


def _close_together(ordered: Sequence[VisitVolume]) -> tuple[str, ...]:
    """Return why there is no window although there are visits enough: the first one has no say in it."""
    return (
        f"Without the first visit, which has no say where the first week brought a clear change, visits must "
        f"reach over {WINDOW_DAYS:.0f} days; they reach over {_days(ordered[1], ordered[-1]):.1f}.",
    )


def _too_few(ordered: Sequence[VisitVolume]) -> tuple[str, ...]:
    missing = []
    if len(ordered) < LEAST_VISITS:
        missing.append(f"The rule needs at least {LEAST_VISITS} visits; there {_are(len(ordered))}.")
    if (span := _days(ordered[0], ordered[-1])) < WINDOW_DAYS - _DAY_SLACK:
        missing.append(f"The visits must reach over {WINDOW_DAYS:.0f} days; they reach over {span:.1f}.")
    late = sum(_days(ordered[0], visit) >= FIRST_WEEK_DAYS - _DAY_SLACK for visit in ordered)
    if late < LEAST_VISITS:
        missing.append(
            f"{LEAST_VISITS} visits must lie after the first week, as it carries most of the fall; "
            f"there {_are(late)}."
        )
    return tuple(missing)


def _are(count: int) -> str:
    return "is 1" if count == 1 else f"are {count or 'none'}"


def _last_step(window: Sequence[VisitVolume], error: RepeatError) -> Condition:
    before, after = window[-2:]
    change, percent = error.change(before, after), 100 / before.volume.mean
    if abs(change.mean) < _Z99 * change.sd:
        return Condition("steps", True, "The last step is no larger than repeats differ by.")
    text = (
        f"The step from {before.name} to {after.name} is {change.mean * percent:+.1f} %, "
        f"more than repeats differ by in 99 of 100 ({_Z99 * change.sd * percent:.1f} %)."
    )
    return Condition("steps", False, text)


def _slow(rate: Rate, error: RepeatError) -> Condition:
    slope, sd = rate.percent_per_week
    low, high = slope - _Z90 * sd, slope + _Z90 * sd
    limit = LEVEL_PERCENT_PER_WEEK
    weeks_over = (rate.until - rate.since).total_seconds() / SECONDS_PER_WEEK
    drifts = rate.percent_per_week.clear and abs(slope) * weeks_over >= error.mdc95_percent
    known = f"The rate is {slope:+.1f} % per week (90 %: {low:+.1f} to {high:+.1f})"
    if -limit < low and high < limit and not drifts:
        return Condition("rate", True, f"{known}, within {limit:.0f} %.")
    if drifts and abs(slope) < limit:
        return Condition("rate", False, f"{known}, slow but clear: {slope * weeks_over:+.1f} % in all.")
    more = "; more visits make it surer" if abs(slope) < limit else ""
    return Condition("rate", False, f"{known}, not shown to be within {limit:.0f} %{more}.")


def _girths(window: Sequence[VisitVolume]) -> tuple[Condition, set[int]]:
    """Return the condition on girths over the whole window, and the signs of clear changes.

    Both sds count in full, though part of the error is the same at both visits; ten heights at once would
    else too often find one that seems to change.
    """
    changes = {}
    for height in window[-1].girths:
        found = [girth for visit in window if (girth := visit.girth_at(height)) is not None]
        if len(found) == len(window):
            changes[height] = Estimate(found[-1].mean - found[0].mean, math.hypot(found[0].sd, found[-1].sd))
    if not changes:
        return Condition("girths", None, "Girths were not judged: these visits share no height."), set()
    clear = {height: change for height, change in changes.items() if change.clear}
    if not clear:
        return Condition("girths", True, "No girth has clearly changed."), set()
    height = max(clear, key=lambda at: abs(clear[at].mean))
    text = f"The girth at {height:.0f} mm changed by {clear[height].mean:+.0f} mm since {window[0].name}."
    return Condition("girths", False, text), {_sign(change) for change in clear.values()}
