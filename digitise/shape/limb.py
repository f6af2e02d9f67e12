"""A limb as a value, and what can be read off it, each with its standard deviation.

Girth is linear in the parameters.  Area and volume are quadratic, so their expectation is not their value at
the mean: harmonics that no view sees take area away whatever their sign, and the covariance says how much.
Every area and volume here is the expectation ``m' Q m + tr(Q S)``, with variance
``4 m' Q S Q m + 2 tr(Q S Q S)`` (moments of a Gaussian quadratic form).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Generic, NamedTuple

import numpy as np
from numpy.typing import NDArray
from typing_extensions import TypeVar

from digitise.anatomy import CountedFrom, LimbKind, Side
from digitise.errors import ShapeError
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.support import area_weights, fourier
from digitise.shape.basis import Basis

# 97.5 % point of the normal distribution
Z95 = 1.959963984540054
MM3_PER_ML = 1000.0


Value = TypeVar("Value", Array, float, default=Array)


class Estimate(NamedTuple, Generic[Value]):
    """A value with its standard deviation, in the same unit (numbers, or arrays of one shape).

    Examples
    --------
    >>> low, high = Estimate(100.0, 5.0).interval_95
    >>> round(low, 1), round(high, 1)
    (90.2, 109.8)
    >>> Estimate(-8.0, 5.0).clear
    False
    """

    mean: Value
    sd: Value

    @property
    def interval_95(self) -> tuple[Value, Value]:
        """Lower and upper end of the 95 % interval."""
        return self.mean - Z95 * self.sd, self.mean + Z95 * self.sd

    @property
    def clear(self) -> bool | NDArray[np.bool_]:
        """Whether the interval leaves out 0."""
        return abs(self.mean) > Z95 * self.sd


AnyEstimate = Estimate[float] | Estimate[Array]

# What may be wrong alike at two visits of one limb: the same skin before the same backdrop pushes every edge
# the same way, and one hand pulls the tape alike.
SHARED_ERRORS = ("outline", "tape")


@dataclass(frozen=True)
class SharedErrors:
    """Errors of a limb that another limb may share, one entry per name in ``SHARED_ERRORS``, in their sds.

    Attributes
    ----------
    mean
        (E,) estimates.
    covariance
        (E, E) of them; unity beforehand.
    with_shape
        (p, E) covariance of the limb's parameters with them, mm.
    """

    mean: Array
    covariance: Array
    with_shape: Array


@dataclass(frozen=True, eq=False)
class Limb:
    """Belief about a limb's shape.

    Attributes
    ----------
    kind, side
        Which limb; what is given as the word of a file is turned into it, any other word is a ValueError.
    axis_from_world
        Frame of the limb's axis: z along it, heights counted from its origin.
    from_mm, to_mm
        The limb is reported between these heights.
    basis
        Splines and harmonics the parameters belong to.
    mean
        (p,) parameters, mm.
    covariance
        (p, p) mm^2.
    prior_mean, prior_precision
        (p,), (p, p) what the priors alone said; two visits share it when they are solved together.
    shared
        Errors within ``covariance`` that another limb may share; None when they were not kept apart.
    considered
        (p, S) by how much errors of one sd each, of which nothing can be learnt, would have moved the
        parameters, mm: what splines do not follow at a lip, the axis of a limb that lies, and in models of
        earlier versions what a limb may have moved between two photographs.  Its outer product is part of
        ``covariance``; None when there is none.
    lying
        How a limb lies, the y of its axis frame upwards: ``palm-down``, ``palm-up`` or ``on-back``; empty for
        one that stands, or whose axis was given.
    counted_from
        The place from which heights count on one that lies; None where it was not said, or it stands.
    print_scale
        (p,) by how much sheets printed one sd of their scale too small would have moved the parameters, mm.
        Its outer product is part of ``covariance``, nothing may be learnt from it, and limbs measured on the
        same sheets share it; None when it was not kept apart.
    """

    kind: LimbKind
    side: Side
    axis_from_world: Pose
    from_mm: float
    to_mm: float
    basis: Basis
    mean: Array
    covariance: Array
    prior_mean: Array
    prior_precision: Array
    shared: SharedErrors | None = None
    considered: Array | None = None
    lying: str = ""
    print_scale: Array | None = None
    counted_from: CountedFrom | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "kind", LimbKind(self.kind))
        object.__setattr__(self, "side", Side(self.side))


@dataclass(frozen=True)
class Section:
    """One level of a limb; lengths in mm, area in mm^2.

    ``width`` is along x and ``depth`` along y of the axis frame; ``centre`` is the section's Steiner point
    there, which for an oval is its middle.
    """

    height_mm: float
    girth: Estimate
    area: Estimate
    width: Estimate
    depth: Estimate
    centre_mm: tuple[float, float]


def _check_heights(limb: Limb, z: Array) -> None:
    if len(z) and (z.min() < limb.basis.low - 1e-6 or z.max() > limb.basis.high + 1e-6):
        raise ShapeError(
            f"The limb is known from {limb.from_mm:.0f} to {limb.to_mm:.0f} mm only.",
            do="Choose heights within that.",
        )


def coefficients(limb: Limb, z: Array) -> tuple[Array, Array]:
    """Return mean (N, 2 K + 1) and covariance (N, 2 K + 1, 2 K + 1) of the harmonics at heights (N,)."""
    z = np.atleast_1d(np.asarray(z, float))
    _check_heights(limb, z)
    basis = limb.basis
    splines = basis.splines(z)
    shape = (basis.n_terms, basis.n_splines)
    mean = splines @ limb.mean.reshape(shape).T
    blocks = limb.covariance.reshape(*shape, *shape).transpose(1, 0, 2, 3)
    half = np.tensordot(splines, blocks, axes=(1, 0))
    return mean, np.einsum("nklj,nj->nkl", half, splines)


def _linear(mean: Array, covariance: Array, row: Array) -> Estimate:
    variance = np.einsum("k,nkl,l->n", row, covariance, row)
    return Estimate(mean @ row, np.sqrt(np.maximum(variance, 0.0)))


def _area(mean: Array, covariance: Array, harmonics: int) -> Estimate:
    weight = area_weights(harmonics)
    value = mean**2 @ weight + np.diagonal(covariance, axis1=1, axis2=2) @ weight
    slope = mean * weight
    linear = 4 * np.einsum("nk,nkl,nl->n", slope, covariance, slope)
    curved = 2 * np.einsum("k,nkl,l,nkl->n", weight, covariance, weight, covariance)
    return Estimate(value, np.sqrt(linear + curved))


def girth(limb: Limb, z: Array) -> Estimate:
    """Return what a taut tape would read at heights (N,): 2 pi a_0, mm."""
    mean, covariance = coefficients(limb, z)
    row = np.zeros(limb.basis.n_terms)
    row[0] = 2 * np.pi
    return _linear(mean, covariance, row)


def area(limb: Limb, z: Array) -> Estimate:
    """Return the sections' expected areas at heights (N,), mm^2."""
    return _area(*coefficients(limb, z), limb.basis.harmonics)


def extent(limb: Limb, z: Array, theta: float) -> Estimate:
    """Return the sections' caliper widths at heights (N,) along direction ``theta`` (radians), mm."""
    directions = np.array([theta, theta + np.pi])
    return _linear(*coefficients(limb, z), fourier(directions, limb.basis.harmonics).sum(axis=0))


def radius(limb: Limb, theta: Array, z: Array) -> Estimate:
    """Return the support distance from the axis in directions (N,) at heights (N,), mm."""
    mean, covariance = coefficients(limb, z)
    rows = fourier(np.atleast_1d(np.asarray(theta, float)), limb.basis.harmonics)
    variance = np.einsum("nk,nkl,nl->n", rows, covariance, rows)
    return Estimate(np.sum(rows * mean, axis=1), np.sqrt(np.maximum(variance, 0.0)))


def volume(limb: Limb, low: float, high: float) -> Estimate:
    """Return the expected volume between two heights, mL.

    The integral over z is exact: products of two splines are integrated by Gauss's rule span by span.
    """
    _check_heights(limb, np.array([low, high]))
    if not high > low:
        raise ShapeError(f"A volume from {low:.0f} up to {high:.0f} mm is empty.", do="Swap the heights.")
    basis = limb.basis
    gram = basis.gram(low, high)
    weight = area_weights(basis.harmonics)

    def form(matrix: Array) -> Array:
        """Return Q @ matrix for the block-diagonal Q = diag(weight) x gram."""
        blocks = matrix.reshape(basis.n_terms, basis.n_splines, -1)
        return np.asarray(weight[:, None, None] * (gram @ blocks)).reshape(matrix.shape)

    slope = form(limb.mean[:, None])[:, 0]
    spread = form(limb.covariance)
    mean = limb.mean @ slope + np.trace(spread)
    variance = 4 * slope @ limb.covariance @ slope + 2 * np.sum(spread * spread.T)
    return Estimate(mean / MM3_PER_ML, np.sqrt(variance) / MM3_PER_ML)


def volume_covariance(limb: Limb, heights: Array) -> Array:
    """Return how the volumes between each of heights (N + 1,) and the next vary together, (N, N) mL^2.

    ``4 m' Q_i S Q_j m + 2 tr(Q_i S Q_j S)``: the covariance of two quadratic forms of one Gaussian.
    """
    _check_heights(limb, np.asarray(heights, float))
    basis, weight = limb.basis, area_weights(limb.basis.harmonics)[:, None, None]

    def forms(matrix: Array) -> list[Array]:
        """Return Q @ matrix of every stretch."""
        blocks = matrix.reshape(basis.n_terms, basis.n_splines, -1)
        grams = (basis.gram(low, high) for low, high in pairwise(heights))
        return [np.asarray(weight * (gram @ blocks)).reshape(matrix.shape) for gram in grams]

    slopes, spreads = np.array(forms(limb.mean)), forms(limb.covariance)
    linear = slopes @ limb.covariance @ slopes.T
    curved = np.array([[np.sum(one * other.T) for other in spreads] for one in spreads])
    both = 4 * linear + 2 * curved
    return np.asarray((both + both.T) / 2) / MM3_PER_ML**2


def print_shift(limb: Limb, low: float, high: float) -> float:
    """Return by how much a volume grows, mL, where the print's scale is off by one sd.

    To first order, ``2 m' Q d`` with d by how much one sd moves the parameters; 0 where that was not kept
    apart.
    """
    if limb.print_scale is None:
        return 0.0
    basis = limb.basis
    there = limb.print_scale.reshape(basis.n_terms, -1) @ basis.gram(low, high)
    terms = limb.mean.reshape(basis.n_terms, -1)
    return float(2 * np.sum(area_weights(basis.harmonics)[:, None] * there * terms)) / MM3_PER_ML


def print_sd(limb: Limb, low: float, high: float) -> float:
    """Return the part of a volume's sd, mL, that is the scale of the print's."""
    return abs(print_shift(limb, low, high))


def levels(limb: Limb, step: float = 10.0) -> Array:
    """Return heights from ``from_mm`` to ``to_mm``: its ends and the multiples of ``step`` between."""
    inner = step * np.arange(np.ceil(limb.from_mm / step), np.floor(limb.to_mm / step) + 1)
    every = np.concatenate([[limb.from_mm], inner, [limb.to_mm]])
    return np.asarray(every[np.concatenate([[True], np.diff(every) > 1e-6])])


def sections(limb: Limb, step: float = 10.0) -> tuple[Section, ...]:
    """Return the sections at :func:`levels`."""
    z = levels(limb, step)
    mean, covariance = coefficients(limb, z)
    harmonics = limb.basis.harmonics
    quarter = np.pi / 2 * np.arange(4.0)
    rows = fourier(np.asarray(quarter), harmonics)
    girths = _linear(mean, covariance, 2 * np.pi * np.eye(limb.basis.n_terms)[0])
    areas = _area(mean, covariance, harmonics)
    widths = _linear(mean, covariance, rows[0] + rows[2])
    depths = _linear(mean, covariance, rows[1] + rows[3])

    def at(values: Estimate, i: int) -> Estimate:
        return Estimate(values.mean[i], values.sd[i])

    return tuple(
        Section(
            float(height),
            at(girths, i),
            at(areas, i),
            at(widths, i),
            at(depths, i),
            (float(mean[i, 1]), float(mean[i, 2])),
        )
        for i, height in enumerate(z)
    )
