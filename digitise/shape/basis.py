"""Cubic B-splines along the limb, and the Gaussian priors that are exact on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array
from digitise.geometry.splines import every_spline
from digitise.geometry.support import fourier, support_of

# three Gauss points per degree-5 product would do for values; four make products of degree 7 exact
_GAUSS_POINTS = 4


@dataclass(frozen=True, eq=False)
class Basis:
    """Support functions ``h(theta, z)``: harmonics in theta, each with spline coefficients in z.

    A parameter vector holds, harmonic by harmonic in the order of :mod:`digitise.geometry.support`, the
    ``n_splines`` spline coefficients of that harmonic.

    Attributes
    ----------
    order
        Degree of the splines plus one (4: cubic).
    knots
        (n_splines + order,) knots with repeated ends, mm along the axis.
    harmonics
        Highest order K in theta.
    """

    order: int
    knots: Array
    harmonics: int

    @classmethod
    def uniform(cls, low: float, high: float, spacing: float, harmonics: int) -> Basis:
        """Return cubic splines on [low, high] with equal spans nearest to ``spacing``, mm."""
        spans = max(1, round((high - low) / spacing))
        inner = np.linspace(low, high, spans + 1)
        knots = np.concatenate([np.repeat(low, 3), inner, np.repeat(high, 3)])
        return cls(4, knots, harmonics)

    @property
    def n_splines(self) -> int:
        """Number of spline coefficients of one harmonic."""
        return len(self.knots) - self.order

    @property
    def n_terms(self) -> int:
        """Number of harmonic terms, 2 K + 1."""
        return 2 * self.harmonics + 1

    @property
    def size(self) -> int:
        """Number of parameters."""
        return self.n_terms * self.n_splines

    @property
    def low(self) -> float:
        """Lowest height, mm."""
        return float(self.knots[0])

    @property
    def high(self) -> float:
        """Greatest height, mm."""
        return float(self.knots[-1])

    @property
    def places(self) -> Array:
        """(n_splines,) height that each spline coefficient speaks for (Greville abscissae), mm."""
        windows = [self.knots[i : i + self.n_splines] for i in range(1, self.order)]
        return np.asarray(np.mean(windows, axis=0))

    def splines(self, z: Array, derivative: int = 0) -> Array:
        """Evaluate every spline, or its derivative, at heights (N,) mm: (N, n_splines)."""
        return every_spline(self.knots, self.order - 1, np.clip(z, self.low, self.high), derivative)

    def design(self, theta: Array, z: Array) -> Array:
        """Return the rows (N, size) that turn parameters into ``h(theta, z)``; (N,) radians and mm."""
        around, along = fourier(theta, self.harmonics), self.splines(z)
        return (around[:, :, None] * along[:, None, :]).reshape(len(theta), self.size)

    def sections(self, parameters: Array, z: Array) -> Array:
        """Return the harmonics (N, n_terms) of the sections at heights (N,) mm of parameters (size,)."""
        return self.splines(z) @ parameters.reshape(self.n_terms, -1).T

    def support(self, parameters: Array, theta: Array, z: Array) -> Array:
        """Return ``h(theta, z)`` (N,) mm of parameters (size,); without rows as :meth:`design` makes them."""
        return support_of(self.sections(parameters, z), theta)

    def quadrature(self, low: float, high: float) -> tuple[Array, Array]:
        """Return heights and weights (M,) that integrate products of two splines exactly."""
        inside = self.knots[(self.knots > low) & (self.knots < high)]
        edges = np.unique(np.concatenate([[low], inside, [high]]))
        node, weight = np.polynomial.legendre.leggauss(_GAUSS_POINTS)
        half = np.diff(edges)[:, None] / 2
        middle = (edges[:-1] + edges[1:])[:, None] / 2
        return (middle + half * node).ravel(), (half * weight).ravel()

    def gram(self, low: float, high: float) -> Array:
        """Return ``int B_i B_j dz`` over [low, high]: (n_splines, n_splines), mm."""
        z, weight = self.quadrature(low, high)
        values = self.splines(z)
        return values.T @ (weight[:, None] * values)

    def grown(self, parameters: Array) -> Array:
        """Return by how much parameters (p,) change for each share by which all lengths grow, heights too.

        A section ``h(z)`` becomes ``(1 + s) h(z / (1 + s))``: ``h - z h'`` for each ``s``.  Where a
        section stands (order 1) is left as it is: the cameras say that, whatever its size.
        """
        terms = parameters.reshape(self.n_terms, -1)
        z = self.places
        values = (self.splines(z) - z[:, None] * self.splines(z, 1)) @ terms.T
        values[:, 1:3] = 0.0
        return np.asarray(np.linalg.solve(self.splines(z), values).T).ravel()

    def matern_precision(self, length: float) -> Array:
        """Return the precision of a unit-variance Matern-3/2 process on the splines.

        The process solves ``f'' + 2 l f' + l^2 f = white noise`` with ``l = sqrt(3) / length`` (Hartikainen
        and Sarkka 2010, from memory), so its squared norm on an interval is the integral of the squared left
        side over the noise density ``4 l^3``, plus the stationary terms f^2 and f'^2 / l^2 at one end.

        Parameters
        ----------
        length
            Correlation length, mm.

        Returns
        -------
        (n_splines, n_splines).
        """
        rate = np.sqrt(3.0) / length
        z, weight = self.quadrature(self.low, self.high)
        driven = self.splines(z, 2) + 2 * rate * self.splines(z, 1) + rate**2 * self.splines(z)
        end = np.array([self.low])
        value, slope = self.splines(end), self.splines(end, 1)
        inner = driven.T @ (weight[:, None] * driven) / (4 * rate**3)
        return np.asarray(inner + value.T @ value + slope.T @ slope / rate**2)

    def bending(self, terms: Array) -> Array:
        """Return the integral over each span of the squared curvature of terms (T, n_splines): (S, T)."""
        z, weight = self.quadrature(self.low, self.high)
        squared = weight[:, None] * (self.splines(z, 2) @ terms.T) ** 2
        return np.add.reduceat(squared, np.arange(0, len(z), _GAUSS_POINTS))

    def roughness_precision(self, slope_sd: float, share: Array | None = None) -> Array:
        """Return the precision of an integrated random walk on the splines.

        Parameters
        ----------
        slope_sd
            By how much the slope wanders in 100 mm, one standard deviation (mm per mm).
        share
            (S,) of that precision, what each span keeps of it; all of it where it is None.

        Returns
        -------
        (n_splines, n_splines), of rank n_splines - 2: straight lines are free.
        """
        z, weight = self.quadrature(self.low, self.high)
        if share is not None:
            weight = weight * np.repeat(share, _GAUSS_POINTS)
        curvature = self.splines(z, 2)
        return curvature.T @ (weight[:, None] * curvature) / (slope_sd**2 / 100.0)
