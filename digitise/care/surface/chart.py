"""A limb unrolled on a chart: rows are heights, columns are directions of the outward normal.

With ``n = (cos theta, sin theta)`` and ``t = (-sin theta, cos theta)`` the surface is
``p = (h n + h_theta t, z)``.  Its derivatives are ``p_theta = R t`` with R = h + h_theta_theta, the section's
radius of curvature, and ``p_z = (h_z n + h_theta_z t, 1)``, so the area of a patch is

    dS = |p_theta x p_z| dtheta dz = R sqrt(1 + h_z^2) dtheta dz

and the volume between two limbs h and g is ``int (h - g) (R_h + R_g) / 2 dtheta dz``, exactly, because the
area of a section is ``1/2 int h R dtheta`` and that form is symmetric.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier, orders
from digitise.shape.limb import Limb

Mask = NDArray[np.bool_]

DIRECTIONS = 72
STEP_MM = 8.0
# Beyond this a ratio of local to mean pressure says no more than "an edge".
SHARPEST = 5.0


@dataclass(frozen=True)
class Chart:
    """The surface at Z heights in T equal directions from theta = 0.

    Attributes
    ----------
    theta
        (T,) radians.
    z
        (Z,) equally spaced heights, mm.
    h
        (Z, T) support distance from the axis, mm.
    radius
        (Z, T) radius of curvature of the section, mm; never below zero.
    raised
        (Z, T) derivative of h by z.
    """

    theta: Array
    z: Array
    h: Array
    radius: Array
    raised: Array

    @property
    def turn_step(self) -> float:
        """Angle from column to column, radians."""
        return 2 * np.pi / len(self.theta)

    @property
    def row_mm(self) -> Array:
        """(Z,) height that each row speaks for: half a step at the ends, mm."""
        step = self.z[1] - self.z[0]
        weight = np.full(len(self.z), step)
        weight[[0, -1]] = step / 2
        return weight

    @property
    def cell_mm2(self) -> Array:
        """(Z, T) area of the surface that each place speaks for, mm^2."""
        slant = np.sqrt(1 + self.raised**2)
        return np.asarray(self.radius * slant * self.turn_step * self.row_mm[:, None])


def rows_of(limb: Limb, step: float = STEP_MM) -> Array:
    """Return equally spaced heights (Z,) from one end of the limb to the other, at most ``step`` apart."""
    return np.linspace(limb.from_mm, limb.to_mm, int(np.ceil((limb.to_mm - limb.from_mm) / step)) + 1)


def columns(directions: int = DIRECTIONS) -> Array:
    """Return equal directions (T,) from 0, radians."""
    return 2 * np.pi * np.arange(directions) / directions


def limb_chart(limb: Limb, step: float = STEP_MM, directions: int = DIRECTIONS) -> Chart:
    """Return the chart of a limb between its levels."""
    theta, z = columns(directions), rows_of(limb, step)
    values = limb.mean.reshape(limb.basis.n_terms, limb.basis.n_splines)
    here, slope = limb.basis.splines(z) @ values.T, limb.basis.splines(z, 1) @ values.T
    terms = fourier(theta, limb.basis.harmonics)
    radius = (here * curving(limb.basis.harmonics)) @ terms.T
    return Chart(theta, z, here @ terms.T, np.maximum(radius, 0.0), slope @ terms.T)


def curving(harmonics: int) -> Array:
    """Return what turns coefficients of h into those of h + h'': ``1 - k^2``."""
    return 1 - orders(harmonics) ** 2


def draw_coefficients(limb: Limb, z: Array, count: int, seed: int, terms: int | None = None) -> Array:
    """Return how ``count`` limbs drawn from the limb's belief deviate from its mean.

    Parameters
    ----------
    limb
        The belief.
    z
        (Z,) heights, mm.
    count, seed
        How many draws, and the seed that makes them repeat.
    terms
        Only the first so many harmonic terms; all when None.

    Returns
    -------
    (count, Z, terms) deviations of the harmonics from their mean, mm.
    """
    basis = limb.basis
    terms = basis.n_terms if terms is None else terms
    size = terms * basis.n_splines
    drawn = draw(limb.covariance[:size, :size], count, seed).reshape(count * terms, basis.n_splines)
    # one large product: many small ones wait for one another on a busy machine
    along = (drawn @ basis.splines(z).T).reshape(count, terms, len(z))
    return np.ascontiguousarray(along.transpose(0, 2, 1))


def draw(covariance: Array, count: int, seed: int) -> Array:
    """Return ``count`` draws (count, n) of mean zero and this covariance (n, n)."""
    # rounding may leave it a hair short of positive; a billionth of the greatest variance moves no surface
    steady = 1e-9 * float(covariance.diagonal().max()) * np.eye(len(covariance))
    white = np.random.default_rng(seed).standard_normal((len(covariance), count))
    return np.asarray((np.linalg.cholesky(covariance + steady) @ white).T)


def connected(mask: Mask) -> tuple[Mask, ...]:
    """Return the connected areas of a (Z, T) mask whose last column is next to its first."""
    labels, count = ndimage.label(mask, structure=np.ones((3, 3)))
    first, last = labels[:, 0], labels[:, -1]
    alias = np.arange(count + 1)
    for shift in (-1, 0, 1):
        rows = np.arange(max(0, -shift), len(first) - max(0, shift))
        for left, right in zip(last[rows], first[rows + shift], strict=True):
            if left and right and alias[left] != alias[right]:
                alias[alias == alias[right]] = alias[left]
    merged = alias[labels]
    return tuple(merged == name for name in np.unique(merged[mask]))
