"""What on a leg is none of what usual legs do: bumps, dents and folds.

A place stands out from a fit of the usual form by less than it is high, for the fit follows it a little.  So
here nothing is fitted first.  The leg's heights above the mean of usual legs are explained by all that makes
them differ: modes, an even change, where the joints were placed, what legs have of their own beyond these,
how well the surface is known and what of it was seen at all, and swelling all round where that is likelier.
Each has its covariance.  A Gaussian bump or a fold at each place is then laid beside that by generalised
least squares: its height, over its standard deviation, is how much it is needed (matched filter; Kay 1998,
Fundamentals of Statistical Signal Processing II, from memory).  The
likeliest is taken, and the rest judged anew given it, until none is left (orthogonal matching pursuit), so
that no place has an echo.  One threshold holds for the greatest of all places of a limb, not for each.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from digitise.care.padding.usual.fit import USUAL_SLOPE_SD, PlacedShape, UsualFit
from digitise.care.surface.taper import PLACE_MM2, smooth_terms
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.limb import Limb

LEAST_SCORE = 4.2
"""From so many standard deviations on a place is listed: by trial on 60 drawn legs that had no say in the
range, one place of these in 30 legs."""
_ROWS_MM, _DIRECTIONS = 12.0, 24
_FINER = 4  # a fold is narrower than the rows are apart
# What legs have of their own is alike over so much of height and turn (by trial on the same legs).
_ALIKE_MM, _ALIKE_TURN = 25.0, 0.35
# Beyond the range, mm: nothing is told there.
_UNKNOWN_MM = 3.0
# How far off the joints are placed, mm (rms over usual and swollen drawn legs).
_ANKLE_SD_MM, _SHANK_SD_MM = 8.0, 22.0
# Of a parameter, so that a covariance has a root; far below what is listed.
_LEAST_SD_MM = 0.05
# A place that swelling makes or a bandage's edge leaves: half of it within 40 mm of height and a fifth of the
# way round; a fold: 12 mm along, from one side to the other (ours).
_BUMP_MM, _BUMP_TURN, _FOLD_MM = 32.0, 0.57, 12.0
_MOST = 12
# A place is listed if the size from which it would be is so many of its standard deviations (by trial on
# photographed legs: what was listed wrongly was known to 3 mm and worse).
_LEAST_SEEN = 1.5
# Swelling all round: its height above a usual leg, and how far along it is alike (by trial on 24 drawn
# legs swollen at ankle, calf or thigh: of 54 places listed on them without it, 8 were left).
_SWOLLEN_MM, _SWOLLEN_TALL_MM = 5.0, 45.0


@dataclass(frozen=True)
class Sighting:
    """A place that usual legs do not have.

    Attributes
    ----------
    kind
        ``bulge`` or ``hollow``.
    theta, z
        Where, radians and mm in the axis frame.
    height_mm
        How far it stands out, or how deep it is.
    score
        That over its standard deviation, given all likelier places.
    """

    kind: Literal["bulge", "hollow"]
    theta: float
    z: float
    height_mm: float
    score: float


def sightings(limb: Limb, fit: UsualFit, least_mm: float) -> tuple[Sighting, ...]:
    """Return the places of a leg that usual legs do not have, the likeliest first.

    Parameters
    ----------
    limb, fit
        The leg, and how it was held against the range.
    least_mm
        A place that is less high or deep is none.
    """
    grid = _Grid(limb)
    on = _placed(fit, grid)
    seen = _Seen.of(limb)
    level = limb.mean - seen.of_prior - seen.gain @ grid.parameters(on.mean[None])[0]
    root = _likelier(level, _covariance(fit, grid, seen), seen.gain @ grid.swollen())
    bumps = np.hstack([grid.bumps(_BUMP_MM, _BUMP_TURN), grid.bumps(_FOLD_MM, None)])
    white = solve_triangular(root, np.column_stack([level, seen.gain @ bumps]), lower=True)
    left, shapes = white[:, 0], white[:, 1:]
    found: list[Sighting] = []
    for _ in range(_MOST):
        size = np.sqrt(np.maximum(np.einsum("ij,ij->j", shapes, shapes), 1e-12))
        score = shapes.T @ left / size
        score[np.abs(score) < least_mm * size] = 0.0
        score[size < _LEAST_SEEN / least_mm] = 0.0
        best = int(np.argmax(np.abs(score)))
        if abs(score[best]) < LEAST_SCORE:
            break
        z, theta = grid.place(best, np.abs(score))
        kind: Literal["bulge", "hollow"] = "bulge" if score[best] > 0 else "hollow"
        found.append(Sighting(kind, theta, z, abs(float(score[best] / size[best])), abs(float(score[best]))))
        # what a small misplacement leaves of it is no place either
        taken = np.linalg.qr(shapes[:, grid.around(best)])[0]
        left = left - taken @ (taken.T @ left)
        shapes = shapes - taken @ (taken.T @ shapes)
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Seen:
    """What a limb's mean shows of its true shape: where nothing was seen, the prior's mean alone.

    Attributes
    ----------
    gain
        (P, P) how the mean follows the true parameters.
    of_prior
        (P,) what the prior's mean adds.
    noise
        (P, P) covariance of the mean about that.
    """

    gain: Array
    of_prior: Array
    noise: Array

    @classmethod
    def of(cls, limb: Limb) -> _Seen:
        """Take the prior out of a limb: precisions of prior and evidence add to the limb's own.

        Of an axis or a print that may be off nothing was learnt: that widens what is known, no more.
        """
        considered = np.zeros_like(limb.covariance)
        for column in (limb.sway, limb.print_scale):
            if column is not None:
                moved = column.reshape(len(limb.mean), -1)
                considered += moved @ moved.T
        still = limb.covariance - considered
        from_prior = still @ limb.prior_precision
        gain = np.eye(len(still)) - from_prior
        noise = gain @ still
        return cls(gain, from_prior @ limb.prior_mean, (noise + noise.T) / 2 + considered)


class _Grid:
    """Places on a leg, and what of a surface given there the limb's own parameters can hold."""

    def __init__(self, limb: Limb) -> None:
        count = max(2, round((limb.to_mm - limb.from_mm) / _ROWS_MM))
        self.z = np.linspace(limb.from_mm, limb.to_mm, count + 1)
        self.theta = 2 * np.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
        self._fine = np.linspace(limb.from_mm, limb.to_mm, _FINER * count + 1)
        self._along = np.linalg.pinv(limb.basis.splines(self.z))
        self._along_fine = np.linalg.pinv(limb.basis.splines(self._fine))
        self._round = np.linalg.pinv(fourier(self.theta, limb.basis.harmonics))

    def parameters(self, heights: Array) -> Array:
        """Return the parameters (N, P) of surfaces (N, Z, T)."""
        found = np.einsum("kt,nzt,sz->nks", self._round, heights, self._along, optimize=True)
        return np.asarray(found.reshape(len(heights), -1))

    def bumps(self, tall: float, wide: float | None) -> Array:
        """Return the parameters (P, Z T) of bumps of 1 mm at each place, folds where no width is given."""
        rise = self._along_fine @ _bell(self._fine[:, None] - self.z, tall)
        turn = np.angle(np.exp(1j * (self.theta[:, None] - self.theta)))
        across = self._round @ (0.5 + 0.5 * np.cos(turn) if wide is None else _bell(turn, wide))
        return np.asarray(np.einsum("kt,sz->kszt", across, rise).reshape(-1, len(self.z) * _DIRECTIONS))

    def swollen(self) -> Array:
        """Return the parameters (P, Z) of swelling all round, each of one sd."""
        along = _SWOLLEN_MM * _root(_bell(self.z[:, None] - self.z, _SWOLLEN_TALL_MM))
        return self.parameters(np.repeat(along.T[:, :, None], _DIRECTIONS, axis=2)).T

    def around(self, number: int) -> list[int]:
        """Return a bump's number and those of its kind beside it, along and across."""
        kind, row, column = self._at(number)
        rows = [each for each in (row - 1, row + 1) if 0 <= each < len(self.z)]
        beside = [(each, column) for each in rows] + [(row, (column + way) % _DIRECTIONS) for way in (-1, 1)]
        return [number, *(self._number(kind, *each) for each in beside)]

    def place(self, number: int, score: Array) -> tuple[float, float]:
        """Return height and direction of a bump: where a parabola through its neighbours' scores peaks."""
        kind, row, column = self._at(number)
        up, across = (
            _peak(
                [score[self._number(kind, *each)] if 0 <= each[0] < len(self.z) else -np.inf for each in line]
            )
            for line in (
                [(row + way, column) for way in (-1, 0, 1)],
                [(row, (column + way) % _DIRECTIONS) for way in (-1, 0, 1)],
            )
        )
        z = self.z[row] + up * (self.z[1] - self.z[0])
        return float(z), float(self.theta[column] + across * (self.theta[1] - self.theta[0]))

    def _at(self, number: int) -> tuple[int, int, int]:
        kind, place = divmod(number, len(self.z) * _DIRECTIONS)
        return kind, *divmod(place, _DIRECTIONS)

    def _number(self, kind: int, row: int, column: int) -> int:
        return (kind * len(self.z) + row) * _DIRECTIONS + column


def _peak(values: Sequence[float]) -> float:
    """Return where a parabola through three values is highest, in steps from the middle one; 0 at an end."""
    before, middle, after = values
    bend = before - 2.0 * middle + after
    return float(0.5 * (before - after) / bend) if np.isfinite(bend) and bend < 0.0 else 0.0


def _placed(fit: UsualFit, grid: _Grid, ankle: float = 0.0, shank: float = 0.0) -> PlacedShape:
    length = fit.knee_mm - fit.ankle_mm
    return PlacedShape(fit.shape, grid.theta, grid.z, fit.ankle_mm + ankle, length + shank)


def _covariance(fit: UsualFit, grid: _Grid, seen: _Seen) -> Array:
    """Return the covariance (P, P) of what usual legs, so measured, do to a limb's mean."""
    on, rows = _placed(fit, grid), (-1, len(grid.z), _DIRECTIONS)
    factors = [(on.modes * fit.shape.mode_sd).T]
    for ankle, shank in ((_ANKLE_SD_MM, 0.0), (0.0, _SHANK_SD_MM)):
        high, low = (_placed(fit, grid, way * ankle, way * shank).mean for way in (0.5, -0.5))
        factors.append((high - low).reshape(1, -1))
    terms, penalty = smooth_terms(grid.theta, grid.z, USUAL_SLOPE_SD)
    spread = np.linalg.inv(penalty / PLACE_MM2 + 1e-7 * np.eye(len(penalty)))
    factors.append((terms @ np.linalg.cholesky((spread + spread.T) / 2)).T)
    apart = np.angle(np.exp(1j * (grid.theta[:, None] - grid.theta)))
    roots = [
        _root(_bell(away, alike))
        for away, alike in ((grid.z[:, None] - grid.z, _ALIKE_MM), (apart, _ALIKE_TURN))
    ]
    own = np.where(np.isfinite(on.spread), on.spread, _UNKNOWN_MM).ravel()
    factors.append(np.kron(*roots).T * own)
    every = grid.parameters(np.concatenate(factors).reshape(rows))
    every = every @ seen.gain.T
    whole = seen.noise + every.T @ every
    whole[np.diag_indices(len(whole))] += _LEAST_SD_MM**2
    return np.asarray(whole)


def _likelier(level: Array, usual: Array, swollen: Array) -> Array:
    """Return the lower root (P, P) of the covariance under which a leg is likelier: usual, or evenly swollen.

    ``level`` (P,) is the leg above the mean of usual legs, ``usual`` (P, P) what usual legs do to it, and
    ``swollen`` (P, N) what even swelling of one sd does.  Swelling that reaches all round is no place to pad;
    nor may it be told as several.  Where legs are usual, it is left out, for it would hide part of every bump
    (empirical Bayes: the likelier of two models).
    """
    roots = [cholesky(each, lower=True) for each in (usual, usual + swollen @ swollen.T)]
    return max(roots, key=lambda root: _log_likelihood(level, root))


def _log_likelihood(level: Array, root: Array) -> float:
    """Return the log normal density of values (P,) of covariance ``root root^T``, up to a constant."""
    white = solve_triangular(root, level, lower=True)
    return float(-np.log(np.diag(root)).sum() - 0.5 * white @ white)


def _root(covariance: Array) -> Array:
    """Return a square root (N, N) of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _bell(distance: Array, sd: float) -> Array:
    return np.asarray(np.exp(-0.5 * (distance / sd) ** 2))
