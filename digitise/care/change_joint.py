"""Two limbs solved together, because what no view sees is nearly the same in both.

Each limb is a Gaussian belief that came from its own prior and its own evidence.  A limb's anatomy (the
triangle of the calf, the flat of the shin) stays while its swelling changes, so the harmonics of order 2
and more are correlated between the two priors.  The correlation is stated at common heights every 25 mm: with
y the values of one order's cosine and sine there, each limb's own prior has ``y = m + R^-1 w`` with white w,
and the two w are correlated with rho.  Every limb keeps its own marginal prior, the two may have different
splines, and all that the link adds to the joint precision is

    E' (J - diag(J_1, J_2)) E,    J_i = R_i' R_i the precision of y_i,    E: parameters to y.

Mean radius (order 0) is seen in every visit and stays uncorrelated; centres (order 1) move with the person
and by what :class:`~digitise.care.align_motion.Alignment` allows each level.  Given the turn all this is
linear and Gaussian, and the evidence for the turn has a closed form.  Errors of tape, scale and outline are
counted as independent between visits; where the same skin and backdrop push both outlines the same way, the
interval is therefore a little wider than need be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve, cholesky, solve_triangular

from digitise.care.align_motion import Alignment, common_range, moved, offsets
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape.limb import MM3_PER_ML, Limb

_SPACING_MM = 25.0
# One sd each of shift x, y and lean x, y: wide, the centres tell them.
_STAND_SD = np.array([100.0, 100.0, 0.05, 0.05])
# What bends a limb or swells on one side is taken to be alike over this height, as the priors do.
_CENTRE_LENGTH_MM = 70.0


@dataclass(frozen=True)
class Kinship:
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
SAME_LIMB = Kinship((0.95, 0.96, 0.98))
# The two sides of a body are alike, but muscles and long-standing swelling differ.
OTHER_LIMB = Kinship((0.8, 0.8, 0.8))
UNRELATED = Kinship((0.0,))


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
class Solution:
    """The joint belief for one turn of b.

    Attributes
    ----------
    mean
        (n,) parameters of a, those of b moved by the alignment, and what is to be added to the alignment's
        shift and lean (4).
    root, factor
        The covariance is ``root @ inverse(factor @ factor.T) @ root.T``.
    log_evidence
        Of the turn, up to a constant.
    """

    mean: Array
    root: Array
    factor: Array
    log_evidence: float

    def read(self, rows: Array) -> tuple[Array, Array]:
        """Return mean and covariance of ``rows`` (m, n) of the unknowns."""
        half = solve_triangular(self.factor, (rows @ self.root).T, lower=True)
        return rows @ self.mean, half.T @ half

    def stand(self) -> tuple[Array, Array]:
        """Return mean and covariance of what is to be added to shift and lean (4)."""
        return self.read(np.eye(len(self.mean))[-len(_STAND_SD) :])

    def place(self, ways: Array) -> Array:
        """Return the rows that give all parameters with b in its place, moved the ``ways`` (size of b, 4)."""
        n = len(self.mean) - ways.shape[1]
        rows = np.eye(n, len(self.mean))
        rows[n - len(ways) :, n:] = ways
        return rows


@dataclass(frozen=True)
class _Link:
    """A Gaussian factor: ``rows @ unknowns`` has mean ``target`` and adds ``middle`` to the precision."""

    rows: Array
    middle: Array
    target: Array


def link_heights(low: float, high: float) -> Array:
    """Return the heights at which two limbs are linked, some 25 mm apart."""
    return np.linspace(low, high, int((high - low) // _SPACING_MM) + 1)


def solve_at(a: Limb, b: Limb, alignment: Alignment, kinship: Kinship) -> Solution:
    """Return the joint belief about ``a`` and ``b``, which need not have the same splines, for one turn.

    Parameters
    ----------
    a, b
        Limbs as they were fitted, each alone.
    alignment
        The turn, a first guess of shift and lean, and how far each level's centre may have moved of itself.
    kinship
        How alike the shapes are.
    """
    there = moved(alignment, b, a)
    mean = np.concatenate([a.mean, there.mean, np.zeros(len(_STAND_SD))])
    root = block_diag(_root(a.covariance), _root(there.covariance), np.diag(_STAND_SD))
    links = _shape_links(a, b, there, alignment.level_mm, kinship)
    links += _centre_links(a, there, alignment)
    rows = np.vstack([link.rows for link in links])
    middle = block_diag(*(link.middle for link in links))
    off = np.concatenate([link.rows @ mean - link.target for link in links])
    # in units of the separate beliefs: their precision is the identity there
    white = rows @ root
    pull = white.T @ (middle @ off)
    factor = cho_factor(np.eye(len(mean)) + white.T @ middle @ white, lower=True)
    moves = -cho_solve(factor, pull)
    evidence = -0.5 * (off @ middle @ off + pull @ moves) - np.sum(np.log(np.diag(factor[0])))
    return Solution(mean + root @ moves, root, np.tril(factor[0]), float(evidence))


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


def _root(covariance: Array) -> Array:
    """Return G with ``G G' = covariance``, also where rounding made the covariance singular."""
    try:
        return np.asarray(cholesky(covariance, lower=True))
    except np.linalg.LinAlgError:
        pass
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _term(limb: Limb, term: int, splines: Array) -> Array:
    """Return the rows (N, size) that evaluate one harmonic term."""
    rows = np.zeros((len(splines), limb.basis.size))
    rows[:, term * limb.basis.n_splines : (term + 1) * limb.basis.n_splines] = splines
    return rows


def _order_rows(limb: Limb, order: int, splines: Array) -> Array:
    return np.vstack([_term(limb, term, splines) for term in (2 * order - 1, 2 * order)])


def _precision(limb: Limb, order: int, splines: Array) -> Array:
    """Return the prior precision of one order's cosine and sine at the heights of ``splines``.

    The priors are independent from order to order, so an order's own block tells all.
    """
    n = limb.basis.n_splines
    part = slice((2 * order - 1) * n, (2 * order + 1) * n)
    here = np.kron(np.eye(2), splines)
    prior = here @ np.linalg.solve(limb.prior_precision[part, part], here.T)
    return np.asarray(np.linalg.inv((prior + prior.T) / 2), float)


def _shape_links(a: Limb, b: Limb, there: Limb, z: Array, kinship: Kinship) -> list[_Link]:
    """Return one link per order from 2 on: the joint prior less the two separate ones.

    What the section priors say of wide and deep belongs to one direction of the limb.  The prior of the moved
    limb ``there`` is therefore taken back as it was turned, and stated again, as ``b`` has it, in the
    direction of the first limb.
    """
    along_a, along_b = a.basis.splines(z), b.basis.splines(z)
    links = []
    for order in range(2, min(a.basis.harmonics, b.basis.harmonics) + 1):
        rows_a, rows_b = _order_rows(a, order, along_a), _order_rows(b, order, along_b)
        rho = kinship.at(order)
        own, turned = _precision(a, order, along_a), _precision(there, order, along_b)
        root = block_diag(cholesky(own), cholesky(_precision(b, order, along_b)))
        tied = np.kron([[1.0, -rho], [-rho, 1.0]], np.eye(2 * len(z))) / (1 - rho**2)
        rows = np.pad(block_diag(rows_a, rows_b), ((0, 0), (0, len(_STAND_SD))))
        target = np.concatenate([rows_a @ a.prior_mean, rows_b @ there.prior_mean])
        links.append(_Link(rows, root.T @ tied @ root - block_diag(own, turned), target))
    return links


def _centre_links(a: Limb, there: Limb, alignment: Alignment) -> list[_Link]:
    """Return one link for x and one for y: centres agree but for what each level may have changed."""
    z, sd = alignment.level_mm, alignment.level_sd_mm
    distance = np.abs(z[:, None] - z) * np.sqrt(3.0) / _CENTRE_LENGTH_MM
    precision = np.linalg.inv(np.outer(sd, sd) * (1 + distance) * np.exp(-distance))
    ways = offsets(there.basis, alignment.pivot_mm)
    links = []
    for term in (1, 2):
        rows_a, rows_b = _term(a, term, a.basis.splines(z)), _term(there, term, there.basis.splines(z))
        links.append(_Link(np.hstack([-rows_a, rows_b, rows_b @ ways]), precision, np.zeros(len(z))))
    return links


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
    forms = [
        np.kron(np.diag(area_weights(limb.basis.harmonics)), limb.basis.gram(low, high))
        for limb in (joint.a, joint.b)
    ]
    mean, covariance = np.zeros(2), np.zeros((2, 2))
    for i, (here, form) in enumerate(zip(parts, forms, strict=True)):
        slope = form @ joint.mean[here]
        mean[i] = joint.mean[here] @ slope + np.sum(form * joint.covariance[here, here])
        for j, (there, other) in enumerate(zip(parts, forms, strict=True)):
            cross = joint.covariance[here, there]
            linear = 4 * slope @ cross @ other @ joint.mean[there]
            covariance[i, j] = linear + 2 * np.sum((form @ cross @ other) * cross)
    return mean / MM3_PER_ML, covariance / MM3_PER_ML**2
