"""Gaussian factors that tie the harmonics of two limbs at common heights, and what is believed given them.

Four kinds of factor, each a change of the joint precision of two limbs that were known apart:

- *facing*: what the section priors say of wide and deep belongs to one direction of the limb.  The prior of a
  turned limb is therefore taken back as it was turned, and stated again in the direction of the other limb.
- *kin*: the values of all orders from 2 on at the common heights are one anatomy, and differ between the
  limbs by what :mod:`digitise.care.change.likeness` allows.  A layer of even thickness adds a constant to
  the support distance, so it changes order 0 only and leaves all others as they were in mm: the anatomy, mean
  of both limbs, has the mean of their prior covariances, although one may be thicker, and the mean of their
  prior means: those follow from what each limb's views saw of its oval, so a turn of the person alone would
  make them differ.
- *centre*: sections' centres agree but for what each height may have moved of itself.
- *shared*: errors of outline and tape that both visits were subject to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import block_diag, cho_solve, cholesky, solve_triangular

from digitise.care.change.motion import Alignment, rotation
from digitise.geometry.matrices import inverse_of
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb
from digitise.shape.priors import FREE_TERMS

Places = NDArray[np.intp]

# One sd each of shift x, y and lean x, y: wide, the centres tell them.
STAND_SD = np.array([100.0, 100.0, 0.05, 0.05])
_SPACING_MM = 25.0
# Of the errors that two visits may share, most is shared: skin, backdrop and hand are the same, light
# and day are not.  The mean offset of four found outlines moved by 0.01 px between two visits of one limb.
SHARED_CORRELATION = 0.9
# What bends a limb or swells on one side is taken to be alike over this height, as the priors do.
_CENTRE_LENGTH_MM = 70.0
# Of a singular precision's greatest entry.
_LINES = 1e-10
# No order looks the same when it is turned by so much, radians.
_ASIDE = 0.3
# (0.1 um)^2 on every variance: rounding may have left a covariance singular.
_LEAST_VARIANCE_MM2 = 1e-8


@dataclass(frozen=True)
class CoefficientIndex:
    """Where a limb's harmonics stand among the unknowns.

    Attributes
    ----------
    first
        Place of the first unknown of the limb.
    orders
        The orders from 1 on whose unknowns stand there, cosine before sine.
    skipped
        How many terms stand before the first of them.
    along
        (Z, n) takes the n unknowns of one term to its values at the common heights.
    """

    first: int
    orders: tuple[int, ...]
    skipped: int
    along: Array

    def columns(self, order: int) -> tuple[Places, Places]:
        """Return the places of an order's cosine and sine, (n,) each."""
        n = self.along.shape[1]
        start = self.first + (self.skipped + 2 * self.orders.index(order)) * n
        return start + np.arange(n), start + n + np.arange(n)

    def columns_of(self, orders: tuple[int, ...]) -> Places:
        """Return the places of several orders' cosines and sines, (2 K n,)."""
        return np.concatenate([place for order in orders for place in self.columns(order)])

    def rows_of(self, orders: tuple[int, ...]) -> Array:
        """Return (2 K Z, 2 K n), which takes those unknowns to their values at the common heights."""
        return np.asarray(np.kron(np.eye(2 * len(orders)), self.along), float)


@dataclass(frozen=True)
class AnatomyPrior:
    """Prior of K orders at the common heights, each order's cosines before its sines.

    Attributes
    ----------
    orders
        From 2 on.
    mean, precision
        (2 K Z,) mm, and (2 K Z, 2 K Z).
    """

    orders: tuple[int, ...]
    mean: Array
    precision: Array

    def turned(self, turn: float) -> AnatomyPrior:
        """Return the prior of the limb turned counter-clockwise by ``turn``."""
        eye = np.eye(len(self.mean) // (2 * len(self.orders)))
        wave = block_diag(*(np.kron(rotation(order * turn), eye) for order in self.orders))
        return AnatomyPrior(self.orders, wave @ self.mean, wave @ self.precision @ wave.T)

    def common(self, other: AnatomyPrior) -> Array:
        """Return the precision that belongs to the mean of both covariances."""
        return _inverse((_inverse(self.precision) + _inverse(other.precision)) / 2)

    def of(self, orders: tuple[int, ...]) -> AnatomyPrior:
        """Return what is known of some of the orders, whatever the others are."""
        count = len(self.mean) // len(self.orders)
        kept = np.concatenate([self.orders.index(k) * count + np.arange(count) for k in orders])
        return AnatomyPrior(orders, self.mean[kept], _inverse(_inverse(self.precision)[np.ix_(kept, kept)]))

    @property
    def faces(self) -> bool:
        """Whether the prior changes when the limb is turned."""
        aside = self.turned(_ASIDE)
        level = 1e-6 * self.precision.max()
        return not np.allclose(aside.precision, self.precision, rtol=0, atol=level)


@dataclass(frozen=True)
class GaussianFactor:
    """A Gaussian factor: ``rows`` of the unknowns ``columns`` have mean ``target``, precision ``middle``."""

    columns: Places
    rows: Array
    middle: Array
    target: Array


@dataclass(frozen=True)
class Belief:
    """A Gaussian belief: mean, lower Cholesky factor of its precision, and the evidence for the factors."""

    mean: Array
    factor: Array
    log_evidence: float

    def covariance(self, rows: Array | None = None) -> Array:
        """Return the covariance of all unknowns, or of ``rows`` (m, n) of them."""
        if rows is None:
            return inverse_of(self.factor)
        half = solve_triangular(self.factor, rows.T, lower=True, check_finite=False)
        return np.asarray(half.T @ half)


def link_heights(low: float, high: float) -> Array:
    """Return the heights at which two limbs are linked, some 25 mm apart."""
    return np.linspace(low, high, int((high - low) // _SPACING_MM) + 1)


def information(covariance: Array) -> Array:
    """Return the precision that belongs to a covariance."""
    root = cholesky(covariance + _LEAST_VARIANCE_MM2 * np.eye(len(covariance)), lower=True)
    return inverse_of(root)


def anatomy_prior(limb: Limb, z: Array) -> AnatomyPrior:
    """Return the prior of orders 2 and up at heights (Z,), whatever the limb's size and where it stands."""
    n = limb.basis.n_splines
    own, other = slice(FREE_TERMS * n, None), slice(0, FREE_TERMS * n)
    precision = limb.prior_precision
    # straight lines are free: what is added here keeps them from being singular and changes nothing else,
    # for they are tied to no other order
    free = precision[other, other]
    free = free + _LINES * free.max() * np.eye(len(free))
    alone = precision[own, own] - precision[own, other] @ np.linalg.solve(free, precision[other, own])
    orders = tuple(range(2, limb.basis.harmonics + 1))
    here = np.kron(np.eye(2 * len(orders)), limb.basis.splines(z))
    spread = here @ np.linalg.solve((alone + alone.T) / 2, here.T)
    return AnatomyPrior(orders, here @ limb.prior_mean[own], _inverse(np.asarray(spread, float)))


def _inverse(matrix: Array) -> Array:
    """Return the inverse of a symmetric positive definite matrix."""
    return inverse_of(cholesky((matrix + matrix.T) / 2, lower=True))


def facing_link(own: AnatomyPrior, turn: float, terms: CoefficientIndex) -> GaussianFactor:
    """Return the factor that states the prior ``own`` of a limb in the direction of the other limb."""
    there = own.turned(turn)
    columns, rows = terms.columns_of(own.orders), terms.rows_of(own.orders)
    return GaussianFactor(columns, rows, own.precision - there.precision, there.mean)


def kin_factors(
    first: AnatomyPrior,
    second: AnatomyPrior,
    turn: float,
    difference: Array,
    terms: tuple[CoefficientIndex, CoefficientIndex],
) -> list[GaussianFactor]:
    """Return the factors that tie the orders of two limbs, the second turned by ``turn``.

    One takes back what each prior said alone; the others state, in the direction of the first limb, the prior
    of the mean of both and by how much both differ: ``difference`` (2 K Z, 2 K Z) mm^2, but no more than
    unrelated limbs would.  Together they leave each limb the mean of both prior covariances.
    """
    orders = first.orders
    columns = np.concatenate([each.columns_of(orders) for each in terms])
    rows = block_diag(*(each.rows_of(orders) for each in terms))
    there = second.turned(turn)
    own = np.concatenate([first.mean, there.mean])
    common = first.common(second)
    eye = np.eye(len(first.mean))
    apart = _inverse(difference) + common / 2
    together = _inverse(_inverse(common) - _inverse(apart) / 4)
    return [
        GaussianFactor(columns, rows, -block_diag(first.precision, there.precision), own),
        GaussianFactor(
            columns,
            np.hstack([eye, eye]) / 2 @ rows,
            together,
            (first.mean + there.mean) / 2,
        ),
        GaussianFactor(columns, np.hstack([-eye, eye]) @ rows, (apart + apart.T) / 2, np.zeros(len(eye))),
    ]


def shared_factors(first: Places, second: Places) -> list[GaussianFactor]:
    """Return the factors that correlate the errors ``first`` (E,) of a limb with ``second`` of the other.

    Each limb's belief counts them as independent of the other's, with unit sd.
    """
    columns, eye = np.concatenate([first, second]), np.eye(len(first))
    rho = SHARED_CORRELATION
    joint = np.asarray(np.kron([[1.0, -rho], [-rho, 1.0]], eye) / (1 - rho**2), float)
    together = joint - np.eye(2 * len(first))
    return [GaussianFactor(columns, np.eye(len(columns)), together, np.zeros(len(columns)))]


def centre_links(
    alignment: Alignment, terms: tuple[CoefficientIndex, CoefficientIndex], stand: Places
) -> list[GaussianFactor]:
    """Return one factor for x and one for y; ``stand`` (4,) are the places of shift and lean."""
    z, sd = alignment.level_mm, alignment.level_sd_mm
    distance = np.abs(z[:, None] - z) * np.sqrt(3.0) / _CENTRE_LENGTH_MM
    precision = np.linalg.inv(np.outer(sd, sd) * (1 + distance) * np.exp(-distance))
    links = []
    for axis in (0, 1):
        columns = np.concatenate([terms[0].columns(1)[axis], terms[1].columns(1)[axis], stand])
        rows = np.hstack([-terms[0].along, terms[1].along, alignment.ways(z)[axis]])
        links.append(GaussianFactor(columns, rows, precision, np.zeros(len(z))))
    return links


def condition(precision: Array, mean: Array, links: Sequence[GaussianFactor]) -> Belief:
    """Return the belief of precision (n, n) and mean (n,) once all factors are taken in."""
    precision, pull, evidence = precision.copy(), np.zeros(len(mean)), 0.0
    for link in links:
        off = link.rows @ mean[link.columns] - link.target
        weighed = link.middle @ link.rows
        precision[np.ix_(link.columns, link.columns)] += link.rows.T @ weighed
        pull[link.columns] += weighed.T @ off
        evidence -= 0.5 * float(off @ link.middle @ off)
    factor = np.asarray(cholesky(precision, lower=True, check_finite=False))
    moves = -cho_solve((factor, True), pull, check_finite=False)
    evidence -= 0.5 * float(pull @ moves) + float(np.sum(np.log(np.diag(factor))))
    return Belief(mean + moves, factor, evidence)
