"""How sharply a limb is curved round its sections, and what that does to the pressure of a wrap.

A taut layer presses with its tension over the radius of curvature below it (Laplace), so the pressure at one
place over the mean of its section is the mean radius over the local one.  The mean of ``R = h + h''`` round a
section is a_0, the girth over 2 pi, exactly.  Bending along the limb is left out: a turn runs nearly round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.surface.chart import DIRECTIONS, STEP_MM, columns, curving, rows_of
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.limb import Estimate, Limb, coefficients

# Beyond this a ratio says no more than "an edge".
SHARPEST = 5.0


@dataclass(frozen=True)
class PressureMap:
    """Local over mean pressure on the chart: rows are heights, columns directions of the outward normal.

    Attributes
    ----------
    theta, z
        (T,) radians, (Z,) mm.
    radius
        (Z, T) radius of curvature of the section with its sd, mm; zero or less where the section is flat to
        the eye of a silhouette or not convex.
    mean_radius
        (Z,) girth over 2 pi, mm.
    ratio
        (Z, T) local over mean pressure, 0 where a layer bridges, at most :data:`SHARPEST`.
    """

    theta: Array
    z: Array
    radius: Estimate
    mean_radius: Array
    ratio: Array


def section_radius(limb: Limb, theta: Array, z: Array) -> Estimate:
    """Return the sections' radius of curvature h + h'' at directions (T,) and heights (Z,): (Z, T), mm."""
    mean, covariance = coefficients(limb, z)
    rows = fourier(np.asarray(theta, float), limb.basis.harmonics) * curving(limb.basis.harmonics)
    variance = np.einsum("tk,zkl,tl->zt", rows, covariance, rows, optimize=True)
    return Estimate(mean @ rows.T, np.sqrt(np.maximum(variance, 0.0)))


def laplace_ratio(radius: Array, mean_radius: Array) -> Array:
    """Return local over mean pressure, mean radius over local radius.

    Parameters
    ----------
    radius, mean_radius
        Of equal or broadcasting shapes, in the same unit.

    Returns
    -------
    0 where the radius is zero or less (a layer bridges there), at most :data:`SHARPEST`.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = mean_radius / radius
    return np.where(radius > 0, np.minimum(ratio, SHARPEST), 0.0)


def ellipse_radii(a: float, b: float) -> tuple[float, float]:
    """Return the radii of curvature of an ellipse at the ends of half-axis ``a`` and of ``b``."""
    return b**2 / a, a**2 / b


def padded_ratio(sharp: float, flat: float, padding: float) -> float:
    """Return the pressure at the sharp place over that at the flat one under even padding.

    An outline at constant distance p has every radius greater by p (parallel curves).
    """
    return (flat + padding) / (sharp + padding)


def pressure_map(limb: Limb, step: float = STEP_MM, directions: int = DIRECTIONS) -> PressureMap:
    """Return local over mean pressure everywhere on the limb."""
    theta, z = columns(directions), rows_of(limb, step)
    radius = section_radius(limb, theta, z)
    mean = limb.basis.splines(z) @ limb.mean[: limb.basis.n_splines]
    return PressureMap(theta, z, radius, mean, laplace_ratio(radius.mean, mean[:, None]))
