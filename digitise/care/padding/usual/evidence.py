"""What on a leg is none of what usual legs do: bumps, dents and folds.

A place stands out from a fit of the usual form by less than it is high, for the fit follows it a little.  So
here nothing is fitted first.  The leg's heights above the mean of usual legs are explained by all that makes
them differ: modes, an even change, where the joints were placed, what legs have of their own beyond these,
how well the surface is known and what of it was seen at all, and swelling all round where that is likelier.
Each has its covariance.  A Gaussian bump or a fold at each place is then laid beside that by generalised
least squares: its height, over its standard deviation, is how much it is needed (matched filter; Kay 1998,
Fundamentals of Statistical Signal Processing II, from memory; :mod:`digitise.care.padding.usual.pursuit`).
One threshold holds for the greatest of all places of a limb, not for each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from digitise.care.padding.usual.fit import USUAL_SLOPE_SD, PlacedShape, UsualFit
from digitise.care.padding.usual.grid import DIRECTIONS, Grid, bell, root
from digitise.care.padding.usual.pursuit import LEAST_SCORE, Pursuit
from digitise.care.surface.taper import PLACE_MM2, smooth_terms
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb

# What legs have of their own is alike over so much of height and turn (by trial on the same legs).
_ALIKE_MM, _ALIKE_TURN = 25.0, 0.35
# Beyond the range, mm: nothing is told there.
_UNKNOWN_MM = 3.0
# People have more of their own than bodies drawn by one rule, mm (rms): with less, photographed and swollen
# legs listed places that are none (by trial at 0.4 and 0.5).
_LEAST_OWN_MM = 0.6
# How far off the joints are placed, mm (rms over usual and swollen drawn legs).
_ANKLE_SD_MM, _SHANK_SD_MM = 8.0, 22.0
# Of a parameter, so that a covariance has a root; far below what is listed.
_LEAST_SD_MM = 0.05


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
        That over its standard deviation, given all other places.
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
    grid = Grid(limb)
    on = _placed(fit, grid)
    seen = _Seen.of(limb)
    level = limb.mean - seen.of_prior - seen.gain @ grid.parameters(on.mean[None])[0]
    usual, swollen = _covariance(fit, grid, seen), seen.gain @ grid.swollen()
    told = [_told(level, each, grid, seen, least_mm) for each in (usual, usual + swollen @ swollen.T)]
    return max(told, key=lambda one: one[0])[1]


def _told(
    level: Array, covariance: Array, grid: Grid, seen: _Seen, least_mm: float
) -> tuple[float, tuple[Sighting, ...]]:
    """Return how likely a leg is with the places that it needs under a covariance (P, P), and these.

    The likelihood is its logarithm up to a constant.  A place must gain twice what chance alone would gain by
    one: else swelling all round would be told as a place on each side.
    """
    root = cholesky(covariance, lower=True)
    white = solve_triangular(root, np.column_stack([level, seen.gain]), lower=True)
    found, cost = Pursuit(white[:, 0], white[:, 1:], grid, least_mm).marks()
    likely = -np.log(np.diag(root)).sum() - 0.5 * cost - LEAST_SCORE**2 * len(found)
    return float(likely), tuple(
        Sighting(
            "bulge" if one.mark.height_mm > 0 else "hollow",
            one.mark.theta,
            one.mark.z,
            abs(one.mark.height_mm),
            one.score,
        )
        for one in found
    )


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
        for column in (limb.considered, limb.print_scale):
            if column is not None:
                moved = column.reshape(len(limb.mean), -1)
                considered += moved @ moved.T
        still = limb.covariance - considered
        from_prior = still @ limb.prior_precision
        gain = np.eye(len(still)) - from_prior
        noise = gain @ still
        return cls(gain, from_prior @ limb.prior_mean, (noise + noise.T) / 2 + considered)


def _placed(fit: UsualFit, grid: Grid, ankle: float = 0.0, shank: float = 0.0) -> PlacedShape:
    length = fit.knee_mm - fit.ankle_mm
    return PlacedShape(fit.shape, grid.theta, grid.z, fit.ankle_mm + ankle, length + shank)


def _covariance(fit: UsualFit, grid: Grid, seen: _Seen) -> Array:
    """Return the covariance (P, P) of what usual legs, so measured, do to a limb's mean."""
    on, rows = _placed(fit, grid), (-1, len(grid.z), DIRECTIONS)
    factors = [(on.modes * fit.shape.mode_sd).T]
    for ankle, shank in ((_ANKLE_SD_MM, 0.0), (0.0, _SHANK_SD_MM)):
        high, low = (_placed(fit, grid, way * ankle, way * shank).mean for way in (0.5, -0.5))
        factors.append((high - low).reshape(1, -1))
    terms, penalty = smooth_terms(grid.theta, grid.z, USUAL_SLOPE_SD)
    spread = np.linalg.inv(penalty / PLACE_MM2 + 1e-7 * np.eye(len(penalty)))
    factors.append((terms @ np.linalg.cholesky((spread + spread.T) / 2)).T)
    apart = np.angle(np.exp(1j * (grid.theta[:, None] - grid.theta)))
    roots = [
        root(bell(away, alike))
        for away, alike in ((grid.z[:, None] - grid.z, _ALIKE_MM), (apart, _ALIKE_TURN))
    ]
    own = np.where(np.isfinite(on.own), np.maximum(on.own, _LEAST_OWN_MM), _UNKNOWN_MM).ravel()
    factors.append(np.kron(*roots).T * own)
    every = grid.parameters(np.concatenate(factors).reshape(rows))
    every = every @ seen.gain.T
    whole = seen.noise + every.T @ every
    whole[np.diag_indices(len(whole))] += _LEAST_SD_MM**2
    return np.asarray(whole)
