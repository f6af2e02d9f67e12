"""Volumes of one limb at several visits, and the error that counts when they are compared.

A visit's own sd holds what stays the same from visit to visit (scale of the sheets, the way an edge is seen,
what no view sees); a change does not have it.  So changes are judged by the sd of repeated measurement, which
is stated in percent of volume, or by the sd of the change itself where the two shapes were compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import combinations, pairwise
from types import MappingProxyType

import numpy as np

from digitise.anatomy import LimbKind
from digitise.errors import CourseError
from digitise.geometry.rigid import Array
from digitise.shape.limb import Z95, Estimate

REPEAT_SEM_PERCENT: Mapping[str, float] = MappingProxyType({LimbKind.LEG: 1.4, LimbKind.ARM: 1.2})
"""Error of one measurement until a clinic has its own.

Legs: the larger end of 1.2 to 1.4 %, tape on 42 swollen legs two weeks apart (Lymphat Res Biol, doi
10.1089/lrb.2022.0032).  Arms: between 0.82 % of trained hands (Tidhar et al. 2015, J Pers Med 5(4):341-353)
and what differences of 1.5 to 2.9 % within raters come to (Deltombe et al., Lymphology 2007; over the root
of 2, 1.1 to 2.1 %); the choice is ours.
"""
SAME_HEIGHT_MM = 1.0
SECONDS_PER_WEEK = 7 * 86400.0


def mdc95(sem: float) -> float:
    """Return the change that exceeds the error of two measurements with 95 % confidence, unit of ``sem``.

    Examples
    --------
    >>> round(mdc95(1.0), 2)
    2.77
    >>> mdc95(0.0)
    0.0
    """
    return Z95 * math.sqrt(2) * sem


@dataclass(frozen=True)
class VisitVolume:
    """The volume of one limb at one visit.

    Attributes
    ----------
    taken
        When it was measured, with a time zone.
    volume
        Between ``from_mm`` and ``to_mm``, mL.
    from_mm, to_mm
        Heights, mm; the same at all visits that are compared.
    reference
        Volume of the other limb between the same heights at the same visit, mL; None when not measured.
    common_sd_ml
        The parts of the sds of ``volume`` and ``reference`` that are one error in both, mL: the scale of the
        sheets that both were measured on.
    girths
        Girths in mm by height in mm.
    measured_by
        Initials or a code; empty when unknown.
    local_hour
        Time of day where the client was, 0 to below 24; None when unknown.
    posture
        Empty when unknown.
    places
        Girths taped on foot or hand, mm, by the name of the place.
    ends
        Volumes of what was measured below ``from_mm``, mL, by name: ``foot``.
    covers_mm
        Heights that were measured, where they go beyond ``from_mm`` and ``to_mm``; None when they do not.
    """

    taken: datetime
    volume: Estimate[float]
    from_mm: float
    to_mm: float
    reference: Estimate[float] | None = None
    girths: Mapping[float, Estimate[float]] = field(default_factory=lambda: MappingProxyType({}))
    measured_by: str = ""
    local_hour: float | None = None
    posture: str = ""
    covers_mm: tuple[float, float] | None = None
    places: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    ends: Mapping[str, Estimate[float]] = field(default_factory=lambda: MappingProxyType({}))
    common_sd_ml: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        if self.taken.tzinfo is None:
            raise CourseError("The time of a visit has no time zone.", where=f"{self.taken:%Y-%m-%d}")
        if not self.from_mm < self.to_mm:
            raise self._refused(f"There is nothing between {self.from_mm:g} and {self.to_mm:g} mm.")
        if self.local_hour is not None and not 0 <= self.local_hour < 24:
            raise self._refused(f"{self.local_hour:g} is not an hour of the day.")
        readings = [
            self.volume,
            *self.girths.values(),
            *self.ends.values(),
            *([self.reference] if self.reference else []),
        ]
        for value, sd in readings:
            if not (math.isfinite(value) and value > 0 and math.isfinite(sd) and sd >= 0):
                raise self._refused(f"{value:g} with an sd of {sd:g} is no volume and no girth.")

    def _refused(self, what: str) -> CourseError:
        return CourseError(what, where=self.name)

    @property
    def name(self) -> str:
        """The visit in words: its date."""
        return f"{self.taken:%Y-%m-%d}"

    @property
    def heights(self) -> tuple[float, float]:
        """What was measured, from and to, mm."""
        return self.covers_mm or (self.from_mm, self.to_mm)

    def girth_at(self, height: float) -> Estimate[float] | None:
        """Return the girth at a height, None when there is none within 1 mm."""
        near = min(self.girths, key=lambda at: abs(at - height), default=math.inf)
        return self.girths[near] if abs(near - height) <= SAME_HEIGHT_MM else None


def in_order(visits: Iterable[VisitVolume]) -> tuple[VisitVolume, ...]:
    """Return visits by time.

    Raises
    ------
    CourseError
        When there is none, when two have the same time, or when their volumes are between other heights.
    """
    ordered = tuple(sorted(visits, key=lambda visit: visit.taken))
    if not ordered:
        raise CourseError("There is no visit to follow.", do="Give at least one.")
    for before, after in pairwise(ordered):
        if before.taken == after.taken:
            raise CourseError("Two visits have the same time.", where=after.name, do="Leave one out.")
    low, high = max(visit.from_mm for visit in ordered), min(visit.to_mm for visit in ordered)
    for visit in ordered:
        if low - visit.from_mm > SAME_HEIGHT_MM or visit.to_mm - high > SAME_HEIGHT_MM:
            raise CourseError(
                f"Its volume is between {visit.from_mm:.0f} and {visit.to_mm:.0f} mm, others are not.",
                where=visit.name,
                do=f"Take all volumes between {low:.0f} and {high:.0f} mm."
                if low < high
                else "Leave it out: no height was measured at all visits.",
            )
    return ordered


def weeks(visits: Sequence[VisitVolume]) -> Array:
    """Return times in weeks since the first of them: (n,)."""
    return np.array([(v.taken - visits[0].taken).total_seconds() for v in visits]) / SECONDS_PER_WEEK


@dataclass(frozen=True)
class RepeatError:
    """What two measurements of an unchanged limb differ by.

    Attributes
    ----------
    sem_percent
        Standard error of one measurement, percent of volume, without what is the same at every visit.
    change_sd_ml
        Sd of the change between two visits where it is known, mL, by the times of both, earlier first.
    measured
        Whether ``sem_percent`` comes from a study of repeated measurements.
    """

    sem_percent: float = REPEAT_SEM_PERCENT[LimbKind.LEG]
    change_sd_ml: Mapping[tuple[datetime, datetime], float] = field(
        default_factory=lambda: MappingProxyType({})
    )
    measured: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sem_percent) and self.sem_percent > 0):
            raise CourseError(f"A repeat error of {self.sem_percent:g} % cannot be.", do="State one above 0.")
        for (earlier, later), sd in self.change_sd_ml.items():
            if not (earlier < later and math.isfinite(sd) and sd > 0):
                raise CourseError(
                    f"{sd:g} mL is no sd of a change from {earlier:%Y-%m-%d} to {later:%Y-%m-%d}.",
                    do="Name the earlier visit first and an sd above 0.",
                )

    @property
    def mdc95_percent(self) -> float:
        """Smallest clear change between two visits, percent of volume."""
        return mdc95(self.sem_percent)

    def sem(self, volume_ml: float) -> float:
        """Return the standard error of one measurement of this volume, mL."""
        return self.sem_percent / 100 * volume_ml

    def change(self, earlier: VisitVolume, later: VisitVolume) -> Estimate[float]:
        """Return the change of volume, mL; without a known sd, that of two measurements of the earlier."""
        sd = self._sd(earlier, later, earlier.volume.mean)
        return Estimate(later.volume.mean - earlier.volume.mean, sd)

    def covariance(self, visits: Sequence[VisitVolume]) -> Array:
        """Return the covariance of the changes since the first of the visits: (n - 1, n - 1), mL^2.

        From the sd of all pairs: ``cov(D_i, D_j) = (s_0i^2 + s_0j^2 - s_ij^2) / 2``.  Pairs without a known
        sd have that of two measurements of the mean volume.

        Raises
        ------
        CourseError
            When no errors of measurement can have such sds.
        """
        n, mean = len(visits), float(np.mean([visit.volume.mean for visit in visits]))
        square = np.zeros((n, n))
        for i, j in combinations(range(n), 2):
            square[i, j] = square[j, i] = self._sd(visits[i], visits[j], mean) ** 2
        covariance: Array = (square[0, 1:, None] + square[0, None, 1:] - square[1:, 1:]) / 2
        values = np.linalg.eigvalsh(covariance)
        if values[0] <= 1e-9 * values[-1]:
            raise CourseError(
                f"The sds of changes between {visits[0].name} and {visits[-1].name} contradict each other.",
                do="State the sd of every pair from one comparison, or of none.",
            )
        return covariance

    def _sd(self, earlier: VisitVolume, later: VisitVolume, volume_ml: float) -> float:
        known = self.change_sd_ml.get((earlier.taken, later.taken))
        return math.sqrt(2) * self.sem(volume_ml) if known is None else known
