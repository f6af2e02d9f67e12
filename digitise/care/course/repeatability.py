"""Agreement of two methods and repeatability of one.

Limits of agreement: Bland and Altman 1986 (Lancet i:307-310), with 1.96 sd.  SEM is the standard error of
measurement, the sd of one measurement about what many would give; MDC the smallest change of one person that
two measurements show (``z sqrt(2) SEM``); TEM the technical error of measurement of anthropometry.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.special import chdtri, stdtrit

from digitise.care.course.icc import Anova, IccForm, Interval, anova, icc
from digitise.care.course.visits import mdc95
from digitise.errors import CourseError
from digitise.geometry.rigid import Array
from digitise.shape.limb import Z95

_ALPHA = 0.05
# differences that vary by less than this part of the values are rounding
_ROUNDING = 1e-12


# ---- single figures -----------------------------------------------------------------------------


class Tem(NamedTuple):
    """Technical error of measurement, in the unit of the values and in percent of their mean."""

    tem: float
    percent: float


def tem(a: Sequence[float], b: Sequence[float]) -> Tem:
    """Return ``sqrt(sum d^2 / 2n)`` of n pairs, and in percent of the mean of all.

    Raises
    ------
    CourseError
        When the lists do not pair up, or their mean is not positive so that a percentage means nothing.

    Examples
    --------
    >>> round(tem([300.0, 320.0], [302.0, 320.0]).tem, 2)
    1.0
    >>> tem([300.0, 320.0], [302.0])
    Traceback (most recent call last):
    ...
    digitise.errors.CourseError: 2 and 1 measurements do not pair up. ...
    """
    first, second = _paired(a, b, 1)
    mean = float(np.mean([first, second]))
    if not mean > 0.0:
        raise CourseError("The mean of the measurements is not positive, so it has no percentage.")
    error = math.sqrt(float(np.mean((first - second) ** 2)) / 2)
    return Tem(error, 100 * error / mean)


# ---- limits of agreement -------------------------------------------------------------------------


@dataclass(frozen=True)
class BlandAltman:
    """Agreement of paired measurements; differences are first minus second.

    Attributes
    ----------
    n
        Pairs.
    bias
        Mean difference.
    sd
        Sd of the differences.
    lower, upper
        Limits of agreement, bias -+ 1.96 sd unless asked otherwise, with their own intervals.
    """

    n: int
    bias: Interval
    sd: float
    lower: Interval
    upper: Interval


def bland_altman(a: Sequence[float], b: Sequence[float], *, width: float = Z95) -> BlandAltman:
    """Return bias and limits of agreement of paired measurements, with 95 % intervals.

    Standard errors as in Bland and Altman 1986: ``s / sqrt(n)`` for the bias, ``sqrt(3 / n) s`` for a limit,
    both with Student's t of n - 1.

    Parameters
    ----------
    a, b
        (n,) values of the same n subjects in the same order, n at least 2.
    width
        Distance of the limits from the bias in sd; the 1986 paper has 2.

    Raises
    ------
    CourseError
        When the lists do not pair up or hold something else than numbers.

    Examples
    --------
    >>> found = bland_altman([10.0, 12.0, 14.0], [11.0, 12.0, 12.0])
    >>> round(found.bias.value, 2), round(found.sd, 2)
    (0.33, 1.53)
    """
    first, second = _paired(a, b, 2)
    difference = first - second
    n, bias, sd = len(difference), float(np.mean(difference)), float(np.std(difference, ddof=1))
    reach = float(stdtrit(n - 1, 1 - _ALPHA / 2)) * sd / math.sqrt(n)
    lower, upper, wide = bias - width * sd, bias + width * sd, math.sqrt(3) * reach
    return BlandAltman(
        n,
        Interval(bias, bias - reach, bias + reach),
        sd,
        Interval(lower, lower - wide, lower + wide),
        Interval(upper, upper - wide, upper + wide),
    )


def _paired(a: Sequence[float], b: Sequence[float], least: int) -> tuple[Array, Array]:
    first, second = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    if len(first) != len(second):
        raise CourseError(
            f"{len(first)} and {len(second)} measurements do not pair up.",
            do="Give one of each for every subject, in the same order.",
        )
    if len(first) < least:
        raise CourseError(f"{len(first)} pair(s) of measurements are too few.", do=f"Give at least {least}.")
    if not (np.all(np.isfinite(first)) and np.all(np.isfinite(second))):
        raise CourseError("A measurement is missing or is not a number.", do="Leave that pair out.")
    return first, second


# ---- repeatability --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Repeatability:
    """What repeated measurements of unchanged limbs tell of one measurement's error.

    Attributes
    ----------
    groups, measurements
        Limbs (each in one state), and measurements of all together.
    sem, sem_percent
        Standard error of measurement: pooled sd within groups, in mL and in percent of each group's mean.
    mdc95, mdc95_percent
        Smallest clear change of one limb, mL and percent.
    tem
        Technical error and its percentage of the mean of all; for pairs it equals the SEM.
    second_minus_first
        Bias and limits of the second measurement against the first; None for a single group.
    anova
        Table behind the correlations; None when the groups differ in size, or for a single group.
    icc
        All six forms by name; empty without a table or when the limbs do not differ.
    """

    groups: int
    measurements: int
    sem: Interval
    sem_percent: Interval
    mdc95: float
    mdc95_percent: float
    tem: Tem
    second_minus_first: BlandAltman | None
    anova: Anova | None
    icc: dict[IccForm, Interval]

    @property
    def course_sem_percent(self) -> float:
        """What to take for the SEM in a course, %: with it one change in twenty is clear by chance alone.

        A SEM from few repeats is itself known badly: a change over it follows Student's t.
        """
        degrees = self.measurements - self.groups
        return self.sem_percent.value * float(stdtrit(degrees, 1 - _ALPHA / 2)) / Z95


def repeatability(groups: Sequence[Sequence[float]]) -> Repeatability:
    """Return the repeatability from groups of repeated measurements.

    The interval of the SEM is that of a standard deviation of normal errors (chi-squared).  The error is
    taken as one for all limbs, in mL or in percent.

    Parameters
    ----------
    groups
        Per limb its measurements in the order taken, two or more, all above 0; groups may differ in size.

    Raises
    ------
    CourseError
        When a group has fewer than two measurements, or one that is not a positive number, or when no
        measurement differs from another of its group.
    """
    values = [_group(group, number) for number, group in enumerate(groups, start=1)]
    if not values:
        raise CourseError("There are no repeated measurements.", do="Measure limbs at least twice each.")
    sem, sem_percent = _pooled(values), _pooled([100 * group / np.mean(group) for group in values])
    whole = np.concatenate(values)
    pairs = [(group[1], group[0]) for group in values]
    table = anova(groups) if len(values) > 1 and len({len(group) for group in values}) == 1 else None
    return Repeatability(
        len(values),
        len(whole),
        sem,
        sem_percent,
        mdc95(sem.value),
        mdc95(sem_percent.value),
        Tem(sem.value, 100 * sem.value / float(np.mean(whole))),
        bland_altman(*zip(*pairs, strict=True)) if len(values) > 1 else None,
        table,
        icc(table) if table is not None and table.ss_subjects > 0.0 else {},
    )


def _group(group: Sequence[float], number: int) -> Array:
    values = np.asarray(group, dtype=np.float64)
    if len(values) < 2:
        raise CourseError(
            f"Group {number} has {len(values)} measurement(s).", do="Measure each limb at least twice."
        )
    if not np.all(np.isfinite(values)) or not np.all(values > 0.0):
        raise CourseError(f"A measurement of group {number} is not a positive number.")
    return values


def _pooled(groups: Sequence[Array]) -> Interval:
    """Return the sd within groups, pooled over them, with its 95 % interval."""
    degrees = sum(len(group) - 1 for group in groups)
    squares = sum(float(np.sum((group - np.mean(group)) ** 2)) for group in groups)
    if squares <= _ROUNDING**2 * sum(float(np.sum(group**2)) for group in groups):
        raise CourseError(
            "Repeated measurements are equal to the last digit.", do="Check that values were not copied."
        )
    high, low = (float(chdtri(degrees, p)) for p in (1 - _ALPHA / 2, _ALPHA / 2))
    return Interval(*(math.sqrt(squares / divisor) for divisor in (degrees, low, high)))
