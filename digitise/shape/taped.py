"""The tape against the photographs: cross-check, and rows that do not fit."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array
from digitise.shape.basis import Basis
from digitise.shape.solve import EdgeData, GirthData, Posterior, girth_rows
from digitise.tape.rows import TapeRow

# A taut tape on soft tissue repeats within 2-3 mm; its height is set to about 3 mm (common practice).  Of the
# 2.5 mm that makes, 1.5 are taken to be one hand's pull, alike in all its rows.
READING_SD_MM = 2.0
HAND_SD_MM = 1.5
HEIGHT_SD_MM = 3.0
SUSPECT_Z = 3.0
DIFFERS_Z = 2.0
# A common ratio is told from chance at 3 sd, and told to people from 1.5 % on: less is within what a tape's
# pull does.
RATIO_Z = 3.0
RATIO_LEAST = 0.015
_ROWS_FOR_RATIO = 3
HEIGHTS_LEAST_MM = 6.0  # two sd of how a height is set
_BETTER = 1.05  # of a cone heights that are off and sheets of another size are one and the same
# An edge is in doubt at a row where less than half of its points within 20 mm are sure, or hardly any is
# there: a block of edge is some 4 mm long.
NEAR_MM = 20.0
_LEAST_NEAR = 3
_SURE_SHARE = 0.5


@dataclass(frozen=True)
class TapeCheck:
    """One tape row beside the girth predicted from the photographs alone.

    Attributes
    ----------
    row
        The row as read; never altered.
    photo_mm, photo_sd_mm
        Predicted girth and its sd; NaN where the height is not seen.
    difference_mm
        Tape minus photographs.
    z
        The difference over its own sd, given all other rows where the row is suspect.
    sd_mm
        The sd with which the row enters the final fit.
    verdict
        ``agrees``, ``differs``, ``suspect`` (enters with next to no weight) or ``not seen`` (not used).
    """

    row: TapeRow
    photo_mm: float
    photo_sd_mm: float
    difference_mm: float
    z: float
    sd_mm: float
    verdict: str


@dataclass(frozen=True)
class Common:
    """What all tape rows have in common against the photographs.

    Attributes
    ----------
    share
        Tape over photographs, minus one.
    sd, photo_sd
        Its sd, and the part of it which the photographs make; the rest is the tape's.
    """

    share: float
    sd: float
    photo_sd: float

    @property
    def z(self) -> float:
        """The share in sds."""
        return abs(self.share) / self.sd

    @property
    def is_off(self) -> bool:
        """True when it is neither chance nor what a tape's pull does."""
        return abs(self.share) > RATIO_LEAST and self.z > RATIO_Z

    @property
    def unexplained(self) -> float:
        """What of it is beyond 2 sd of the photographs.

        Beside edges that are in doubt, tape and photographs may differ, whatever the sheets' scale.
        """
        return float(np.sqrt(max(self.share**2 - (DIFFERS_Z * self.photo_sd) ** 2, 0.0)))


_NOTHING_COMMON = Common(0.0, np.inf, np.inf)


@dataclass(frozen=True, eq=False)
class TapeCross:
    """The whole cross-check.

    Attributes
    ----------
    checks
        One per tape row, in order.
    girths
        The rows as they enter the final fit.
    ratio
        By which all girths read larger, as a hand's pull makes them.
    scale
        By which all lengths would have to grow to fit the tape, the heights of the girths with them: sheets
        that were printed too large by that share make it.
    heights
        By which all heights of the tape are too large, mm (its ``share``), as when they were not counted from
        the mat. Where that fits best and clearly, the other two are told beside it.
        All are (0, inf, inf) with fewer than three rows.
    """

    checks: tuple[TapeCheck, ...]
    girths: GirthData
    ratio: Common
    scale: Common
    heights: Common

    @property
    def is_off(self) -> bool:
        """True when all rows together say that the scale of either tape or photographs is wrong."""
        return self.ratio.is_off or self.scale.is_off

    @property
    def is_doubtful(self) -> bool:
        """True when all rows together hint at that: by chance once in twenty visits."""
        return max(self.ratio.z, self.scale.z) > DIFFERS_Z and not self.is_off


def _left_out(difference: Array, covariance: Array) -> tuple[Array, Array]:
    """Return each row's difference given all others, and its sd (both (T,))."""
    inverse = np.linalg.inv(covariance)
    return (inverse @ difference) / np.diag(inverse), np.diag(inverse) ** -0.5


def _suspects(
    difference: Array, covariance: Array, trusted: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.bool_], Array, Array]:
    """Find rows that contradict the rest, worst first, at most half of them; ``trusted`` rows are none.

    Returns
    -------
    suspect
        (T,).
    excess_sd
        (T,) sd to add to the row: the size of its misfit for a suspect, else 0.
    z
        (T,) misfit of the suspects at the time they were found, in sd.
    """
    suspect = np.zeros(len(difference), dtype=bool)
    excess, z = np.zeros(len(difference)), np.zeros(len(difference))
    for _ in range(len(difference) // 2):
        misfit, sd = _left_out(difference, covariance + np.diag(excess**2))
        spared = suspect if trusted is None else suspect | trusted
        score = np.where(spared, 0.0, np.abs(misfit) / sd)
        worst = int(np.argmax(score))
        if score[worst] <= SUSPECT_Z:
            break
        suspect[worst], excess[worst], z[worst] = True, abs(misfit[worst]), misfit[worst] / sd[worst]
    return suspect, excess, z


@dataclass(frozen=True, eq=False)
class _Comparison:
    """Tape rows within the segment beside their prediction: (T,) values, (T, T) covariances, mm.

    ``grown`` is what each girth gains for each share by which all lengths grow: of a limb that widens
    upwards less than the girth itself, for its sections move up. ``slope`` is what it gains per mm upwards.
    """

    z: Array
    measured: Array
    predicted: Array
    grown: Array
    slope: Array
    photo_covariance: Array
    tape_sd: Array

    @property
    def difference(self) -> Array:
        return self.measured - self.predicted

    @property
    def covariance(self) -> Array:
        return np.asarray(self.photo_covariance + np.diag(self.tape_sd**2) + HAND_SD_MM**2)


def _compare(rows: tuple[TapeRow, ...], basis: Basis, posterior: Posterior) -> _Comparison:
    z = np.array([row.height_mm for row in rows])
    design = girth_rows(basis, z)
    slope = 2 * np.pi * basis.splines(z, 1) @ posterior.mean[: basis.n_splines]
    return _Comparison(
        z,
        np.array([row.girth_mm for row in rows]),
        design @ posterior.mean,
        design @ basis.grown(posterior.mean),
        slope,
        design @ posterior.covariance @ design.T,
        np.hypot(READING_SD_MM, HEIGHT_SD_MM * slope),
    )


def cross_check(
    tape: tuple[TapeRow, ...], basis: Basis, posterior: Posterior, edges: tuple[EdgeData, ...] = ()
) -> TapeCross:
    """Compare tape rows with the girths predicted from photographs alone.

    A row beside an edge that is in doubt is never suspect: where one of the two is wrong, it is the edge.

    A suspect row keeps its value; its sd in the final fit grows to the size of its misfit, which leaves it
    next to no pull.  What is common to all rows is set aside first, so that a wrong print scale does not make
    single rows suspect.  Where all heights seem to be off alike, the photographs' girths are those at the
    heights that fit, and the rows say no more of the limb than they do whatever that offset is.
    """
    inside = tuple(row for row in tape if basis.low <= row.height_mm <= basis.high)
    nothing = _NOTHING_COMMON
    if not inside:
        empty = np.zeros(0)
        none = GirthData(empty, empty, empty, HAND_SD_MM, empty)
        return TapeCross(tuple(_unseen(row) for row in tape), none, nothing, nothing, nothing)
    rows = _compare(inside, basis, posterior)
    heights = _common(rows, -rows.slope)
    ratio, scale = (_common(rows, each) for each in (rows.predicted, rows.grown))
    off = np.zeros(len(inside))
    beaten = max(DIFFERS_Z, _BETTER * ratio.z, _BETTER * scale.z)
    if heights.z > beaten and abs(heights.share) > HEIGHTS_LEAST_MM:
        off = heights.share * rows.slope
        rows = replace(rows, predicted=rows.predicted - off)
        ratio, scale = (_common(rows, each, off) for each in (rows.predicted, rows.grown))
    kind, common = (rows.grown, scale) if scale.z > ratio.z else (rows.predicted, ratio)
    shared = common.share * kind if common.z > RATIO_Z else np.zeros(len(inside))
    doubt = np.array([_in_doubt(row.height_mm, edges) for row in inside])
    suspect, excess, misfit = _suspects(rows.difference - shared, rows.covariance, doubt)
    plain = rows.difference / np.sqrt(np.diag(rows.covariance))
    verdict = np.where(suspect, "suspect", np.where(np.abs(plain) > DIFFERS_Z, "differs", "agrees"))
    sd = np.hypot(rows.tape_sd, excess)
    photo_sd = np.sqrt(np.diag(rows.photo_covariance))
    columns = (rows.predicted, photo_sd, rows.difference, np.where(suspect, misfit, plain), sd)
    found = zip(np.stack(columns, axis=1).tolist(), verdict.tolist(), strict=True)
    checks = tuple(_check(row, *next(found)) if row in inside else _unseen(row) for row in tape)
    girths = GirthData(rows.z, rows.measured, sd, HAND_SD_MM, off)
    return TapeCross(checks, girths, ratio, scale, heights)


def _in_doubt(height: float, edges: tuple[EdgeData, ...]) -> bool:
    """Whether an edge is unsure or hidden near a height."""
    for data in edges:
        near = np.abs(data.samples.z - height) < NEAR_MM
        if np.count_nonzero(near) < _LEAST_NEAR or np.mean(data.samples.sure[near]) < _SURE_SHARE:
            return True
    return False


def _common(rows: _Comparison, kind: Array, beside: Array | None = None) -> Common:
    """Return by which share of ``kind`` (T,) all rows differ; single wrong rows are set aside.

    What they differ by as ``beside`` (T,) says, with one sd, tells nothing.
    """
    if len(kind) < _ROWS_FOR_RATIO:
        return _NOTHING_COMMON
    middle = float(np.median(rows.difference[kind != 0.0] / kind[kind != 0.0]))
    covariance = rows.covariance if beside is None else rows.covariance + np.outer(beside, beside)
    _, excess, _ = _suspects(rows.difference - middle * kind, covariance)
    weight = np.linalg.solve(covariance + np.diag(excess**2), kind)
    information = float(kind @ weight)
    photo_sd = float(np.sqrt(weight @ rows.photo_covariance @ weight)) / information
    return Common(float(rows.difference @ weight) / information, information**-0.5, photo_sd)


def _check(row: TapeRow, numbers: list[float], verdict: str) -> TapeCheck:
    photo, photo_sd, difference, z, sd = numbers
    return TapeCheck(row, photo, photo_sd, difference, z, sd, verdict)


def _unseen(row: TapeRow) -> TapeCheck:
    unknown = float("nan")
    return TapeCheck(row, unknown, unknown, unknown, unknown, unknown, "not seen")
