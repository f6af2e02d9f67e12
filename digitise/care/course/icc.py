"""Intraclass correlation: how much of the scatter of measurements lies between the subjects.

Two-way analysis of variance of n subjects by k measurements, the six forms of Shrout and Fleiss 1979
(Psychol Bull 86:420-428) with their F-based intervals (there and McGraw and Wong 1996, Psychol Methods
1:30-46; written from memory, checked in the tests against an independent library).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from scipy.special import fdtri

from digitise.errors import CourseError

IccForm = Literal["ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)"]

FORM_WORDS: dict[IccForm, str] = {
    "ICC(1,1)": "one-way random effects, single measurement",
    "ICC(2,1)": "two-way random effects, absolute agreement, single measurement",
    "ICC(3,1)": "two-way mixed effects, consistency, single measurement",
    "ICC(1,k)": "one-way random effects, mean of k measurements",
    "ICC(2,k)": "two-way random effects, absolute agreement, mean of k measurements",
    "ICC(3,k)": "two-way mixed effects, consistency, mean of k measurements",
}

_UPPER = 0.975
# sums of squares below this part of the total are rounding
_ROUNDING = 1e-12


class Interval(NamedTuple):
    """An estimate with its 95 % confidence interval, in the unit of the estimate."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Anova:
    """Sums of squares of n subjects by k measurements.

    Attributes
    ----------
    n, k
        Subjects; measurements of each.
    ss_subjects, ss_measurements, ss_error
        Between subjects, between the columns of measurements (judges, sessions), and what is left; they add
        up to the total.
    """

    n: int
    k: int
    ss_subjects: float
    ss_measurements: float
    ss_error: float

    @property
    def bms(self) -> float:
        """Mean square between subjects."""
        return self.ss_subjects / (self.n - 1)

    @property
    def jms(self) -> float:
        """Mean square between the columns of measurements."""
        return self.ss_measurements / (self.k - 1)

    @property
    def ems(self) -> float:
        """Mean square of what neither subject nor column explains."""
        return self.ss_error / ((self.n - 1) * (self.k - 1))

    @property
    def wms(self) -> float:
        """Mean square within subjects."""
        return (self.ss_measurements + self.ss_error) / (self.n * (self.k - 1))


def anova(scores: Sequence[Sequence[float]]) -> Anova:
    """Return the two-way analysis of variance of a complete table.

    Parameters
    ----------
    scores
        (n, k): one row a subject, one column a measurement.

    Raises
    ------
    CourseError
        When a value is missing, or there are fewer than two rows or columns, or all values are equal.

    Examples
    --------
    >>> anova([[1.0, 3.0], [2.0, 4.0], [4.0, 6.0]]).ems
    0.0
    """
    table = _checked(scores)
    n, k = table.shape
    table = table - table.mean()
    ss_subjects = k * float(np.sum(table.mean(axis=1) ** 2))
    ss_measurements = n * float(np.sum(table.mean(axis=0) ** 2))
    left = table - table.mean(axis=1, keepdims=True) - table.mean(axis=0, keepdims=True)
    parts = (ss_subjects, ss_measurements, float(np.sum(left**2)))
    total = sum(parts)
    return Anova(n, k, *(0.0 if part < _ROUNDING * total else part for part in parts))


def _checked(scores: Sequence[Sequence[float]]) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    widths = {len(row) for row in scores}
    if len(widths) > 1:
        raise CourseError(
            "The subjects were not measured equally often.",
            do="Give the same number of measurements of every subject.",
        )
    table = np.array(scores, dtype=np.float64).reshape(len(scores), max(widths, default=0))
    if min(table.shape) < 2:
        raise CourseError(
            f"{table.shape[0]} subject(s) with {table.shape[1]} measurement(s) each cannot show agreement.",
            do="Give at least two subjects, each measured at least twice.",
        )
    if not np.all(np.isfinite(table)):
        raise CourseError("A measurement is missing or is not a number.", do="Leave that subject out.")
    if np.ptp(table) <= 1e-12 * float(np.max(np.abs(table))):
        raise CourseError("All measurements are equal.", do="Check that the values were not copied.")
    return table


def icc(table: Anova) -> dict[IccForm, Interval]:
    """Return the six intraclass correlations of an analysis of variance, with 95 % intervals.

    Values below 0 are given as they come out; they mean that subjects do not differ beyond the error.  Far
    below, the mean of k measurements has no correlation, and its form is left out.

    Raises
    ------
    CourseError
        When the subjects do not differ at all, so that no correlation is defined.
    """
    if table.ss_subjects == 0.0:
        raise CourseError(
            "All subjects have the same mean, so no correlation between measurements is defined.",
            do="Measure subjects who differ.",
        )
    within = (table.n * (table.k - 1), table.wms)
    residual = ((table.n - 1) * (table.k - 1), table.ems)
    single: dict[IccForm, Interval] = {
        "ICC(1,1)": _consistency(table, *within),
        "ICC(2,1)": _agreement(table),
        "ICC(3,1)": _consistency(table, *residual),
    }
    names: tuple[IccForm, ...] = ("ICC(1,k)", "ICC(2,k)", "ICC(3,k)")
    means = {name: one for name, one in zip(names, single.values(), strict=True) if _has_mean(one, table.k)}
    return single | {name: _of_mean(one, table.k) for name, one in means.items()}


def _consistency(table: Anova, degrees: int, error: float) -> Interval:
    """Return ICC(1,1) from WMS, or ICC(3,1) from EMS, with the interval of their F ratio."""
    k = table.k

    def of(between: float, noise: float) -> float:
        return (between - noise) / (between + (k - 1) * noise)

    lower = fdtri(table.n - 1, degrees, _UPPER)
    upper = fdtri(degrees, table.n - 1, _UPPER)
    return Interval(
        of(table.bms, error), of(table.bms, float(lower) * error), of(float(upper) * table.bms, error)
    )


def _agreement(table: Anova) -> Interval:
    """Return ICC(2,1); its interval has the degrees of freedom that Satterthwaite's rule gives."""
    n, k, bms, jms, ems = table.n, table.k, table.bms, table.jms, table.ems
    value = (bms - ems) / (bms + (k - 1) * ems + k * (jms - ems) / n)
    judges = k * value * jms
    errors = ems * (n * (1 + (k - 1) * value) - k * value)
    weight = (n - 1) * judges**2 + errors**2
    if weight == 0.0:
        return Interval(value, value, value)
    # below zero the two parts may cancel; one degree is the least that either part has
    degrees = max(1.0, (k - 1) * (n - 1) * (judges + errors) ** 2 / weight)
    lower = float(fdtri(n - 1, degrees, _UPPER))
    upper = float(fdtri(degrees, n - 1, _UPPER))
    noise = k * jms + (k * n - k - n) * ems
    low = n * (bms - lower * ems) / (lower * noise + n * bms)
    high = n * (upper * bms - ems) / (noise + n * upper * bms)
    return Interval(value, low, high)


def _has_mean(single: Interval, k: int) -> bool:
    # it tends to minus infinity at -1 / (k - 1)
    return min(single) > -0.99 / (k - 1)


def _of_mean(single: Interval, k: int) -> Interval:
    """Return the correlation of the mean of k measurements (Spearman and Brown)."""
    return Interval(*(k * value / (1 + (k - 1) * value) for value in single))
