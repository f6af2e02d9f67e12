"""Two limbs solved together, because what no view sees is nearly the same in both.

Each limb is a Gaussian belief that came from its own prior and its own evidence.  A limb's anatomy (the
triangle of the calf, the flat of the shin) stays while its swelling changes, so the harmonics of order 2
and more are correlated between the two priors (:mod:`digitise.care.change.gaussian_factors`).  The two may
have different splines.

Mean radius (order 0) is seen in every visit and stays uncorrelated; centres (order 1) move with the person
and by what :class:`~digitise.care.change.motion.Alignment` allows each level.  Given the turn all this is
linear and Gaussian.  Errors of tape, scale and outline are counted as independent between visits; where the
same skin and backdrop push both outlines the same way, the interval is therefore a little wider than need be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from digitise.care.change.gaussian_factors import (
    STAND_SD,
    CoefficientIndex,
    OrderPrior,
    centre_links,
    condition,
    correlation_factors,
    information,
    order_priors,
)
from digitise.care.change.motion import Alignment, common_range, moved, offsets, turned_square
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape.limb import MM3_PER_ML, Limb


@dataclass(frozen=True)
class ShapeCorrelation:
    """How alike the shapes of two limbs are.

    Attributes
    ----------
    correlation
        Of each order from 2 on; the last holds for all further orders.
    """

    correlation: tuple[float, ...]

    def at(self, order: int) -> float:
        """Return the correlation of an order from 2 on."""
        return self.correlation[min(order - 2, len(self.correlation) - 1)]


# sd of change over sd of shape is sqrt(2 (1 - rho)).  Swelling comes and goes in smooth layers: one that is
# ((1 + cos) / 2)^n thick round the limb has, over its mean depth, orders 2, 3, 4 of 0.3, 0, 0 for n = 2 and
# 0.8, 0.2, 0.03 for n = 4.  Layers of some 4 mm that face anywhere change each coefficient by about 1, 0.4
# and 0.1 mm, against 2 to 5, 1.4 and 0.5 mm of the priors at 55 mm radius.
SAME_LIMB = ShapeCorrelation((0.95, 0.96, 0.98))
# The two sides of a body are alike, but muscles and long-standing swelling differ.
OTHER_LIMB = ShapeCorrelation((0.8, 0.8, 0.8))


@dataclass(frozen=True)
class Joint:
    """Belief about two limbs in one frame.

    Attributes
    ----------
    a, b
        The limbs with their marginal beliefs; b lies in a's frame.
    low, high
        Common heights, mm.
    mean, covariance
        (n,), (n, n) of the parameters of a, then those of b.
    """

    a: Limb
    b: Limb
    low: float
    high: float
    mean: Array
    covariance: Array

    def rows(self, rows_a: Array, rows_b: Array) -> Array:
        """Return the rows (N, n) that take ``rows_a`` of a from ``rows_b`` of b."""
        return np.hstack([-rows_a, rows_b])


@dataclass(frozen=True)
class SeparatePosteriors:
    """Two limbs as they are known apart, with all of it that does not depend on the turn.

    Attributes
    ----------
    a, b
        Limbs as they were fitted, each alone; they need not have the same splines.
    level_mm
        (Z,) heights at which they are tied.
    precision_a, precision_b
        Of their beliefs.
    prior_a, prior_b
        Of each order that both have, at the levels.
    """

    a: Limb
    b: Limb
    level_mm: Array
    precision_a: Array
    precision_b: Array
    prior_a: dict[int, OrderPrior]
    prior_b: dict[int, OrderPrior]

    @classmethod
    def of(cls, a: Limb, b: Limb, level_mm: Array) -> SeparatePosteriors:
        """Gather what two limbs say at the levels."""
        return cls(
            a,
            b,
            level_mm,
            information(a.covariance),
            information(b.covariance),
            order_priors(a, level_mm),
            order_priors(b, level_mm),
        )

    def joined(self, alignment: Alignment, kinship: ShapeCorrelation) -> tuple[Array, Array]:
        """Return mean and covariance of the parameters of both, b in the frame of a, for one turn.

        Parameters
        ----------
        alignment
            The turn, a first guess of shift and lean, and how far each level's centre may have moved of
            itself.
        kinship
            How alike the shapes are.
        """
        a, b, turn = self.a, self.b, alignment.turn
        size = a.basis.size + b.basis.size
        stand = size + np.arange(len(STAND_SD))
        terms = _terms(a, self.level_mm, 0), _terms(b, self.level_mm, a.basis.size)
        links = centre_links(alignment, terms, stand)
        for order in self.prior_a.keys() & self.prior_b.keys():
            first, second, rho = self.prior_a[order], self.prior_b[order], kinship.at(order)
            links += correlation_factors(order, first, second, turn, rho, terms)
        precision = block_diag(
            self.precision_a, turned_square(b.basis, turn, self.precision_b), np.diag(STAND_SD**-2)
        )
        mean = np.concatenate([a.mean, moved(alignment, b, a).mean, np.zeros(len(STAND_SD))])
        belief = condition(precision, mean, links)
        return _in_place(belief.mean, belief.covariance(), offsets(alignment, b.basis))


def _terms(limb: Limb, z: Array, first: int) -> CoefficientIndex:
    return CoefficientIndex(first, tuple(range(1, limb.basis.harmonics + 1)), 1, limb.basis.splines(z))


def _in_place(mean: Array, covariance: Array, ways: Array) -> tuple[Array, Array]:
    """Return the belief about the parameters with b (its last ones) moved the ``ways`` (size of b, 4)."""
    n = len(mean) - ways.shape[1]
    here = slice(n - len(ways), n)
    found, spread = mean[:n].copy(), covariance[:n, :n].copy()
    found[here] += ways @ mean[n:]
    with_stand = covariance[:n, n:] @ ways.T
    spread[:, here] += with_stand
    spread[here] += with_stand.T
    spread[here, here] += ways @ covariance[n:, n:] @ ways.T
    return found, spread


def joint_belief(a: Limb, b: Limb, alignment: Alignment, mean: Array, covariance: Array) -> Joint:
    """Return the joint belief with its two limbs, b in the frame of a."""
    low, high = common_range(a, b)
    n = a.basis.size
    there = moved(alignment, b, a)
    return Joint(
        replace(a, mean=mean[:n], covariance=covariance[:n, :n]),
        replace(there, mean=mean[n:], covariance=covariance[n:, n:]),
        low,
        high,
        mean,
        covariance,
    )


def volumes(joint: Joint, low: float, high: float) -> tuple[Array, Array]:
    """Return the expected volumes of a and b between two heights, and their covariance.

    The moments of two quadratic forms of one Gaussian: ``cov = 4 m' Q S P m + 2 tr(Q S P S)``.

    Returns
    -------
    mean, covariance
        (2,) mL, (2, 2) mL^2.
    """
    size_a, size_b = joint.a.basis.size, joint.b.basis.size
    parts = [slice(0, size_a), slice(size_a, size_a + size_b)]
    limbs = (joint.a, joint.b)
    grams = [limb.basis.gram(low, high) for limb in limbs]

    def form(i: int, matrix: Array) -> Array:
        """Return Q @ matrix for the block-diagonal Q = diag(weight) x gram of limb i."""
        basis = limbs[i].basis
        weight = area_weights(basis.harmonics)[:, None, None]
        blocks = matrix.reshape(basis.n_terms, basis.n_splines, -1)
        return np.asarray(weight * (grams[i] @ blocks)).reshape(matrix.shape)

    mean, covariance = np.zeros(2), np.zeros((2, 2))
    slopes = [form(i, joint.mean[part]) for i, part in enumerate(parts)]
    for i, j in ((0, 0), (0, 1), (1, 1)):
        cross = joint.covariance[parts[i], parts[j]]
        there = form(i, cross)
        linear = 4 * slopes[i] @ cross @ slopes[j]
        # tr(Q C P C') with C the cross covariance
        covariance[i, j] = covariance[j, i] = linear + 2 * np.sum(form(j, cross.T).T * there)
        if i == j:
            mean[i] = joint.mean[parts[i]] @ slopes[i] + np.trace(there)
    return mean / MM3_PER_ML, covariance / MM3_PER_ML**2
