"""Two limbs solved together, because what no view sees is nearly the same in both.

Each limb is a Gaussian belief that came from its own prior and its own evidence.  A limb's anatomy (the
triangle of the calf, the flat of the shin) stays while its swelling changes, so the harmonics of order 2 and
more are correlated between the two priors.  The correlation is stated at common heights every 25 mm: with y
the values of one order's cosine and sine there, each limb's own prior has ``y = m + R^-1 w`` with white w, and
the two w are correlated with rho.  Every limb keeps its own marginal prior, the two may have different
splines, and all that the link adds to the joint precision is

    E' (J - diag(J_1, J_2)) E,    J_i = R_i' R_i the precision of y_i,    E: parameters to y.

Mean radius (order 0) is seen in every visit and stays uncorrelated; centres (order 1) move with the person,
five more unknowns, and by what :class:`~digitise.care.align_motion.Alignment` allows each level.  Errors of
tape, scale and outline are counted as independent between visits; where the same skin and backdrop push both
outlines the same way, the interval is therefore a little wider than need be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve, cholesky

from digitise.care.align_motion import MOTIONS, Alignment, common_range, moved, sensitivity, turning_rate
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape.limb import MM3_PER_ML, Limb

_SPACING_MM = 25.0
# One sd each of how differently a person may stand on the same footprints, or another limb may (chosen
# beforehand): turn 6 degrees; shift 100 mm, which the centres tell anyway; lean 3 degrees.
MOTION_SD = np.array([0.1, 100.0, 100.0, 0.05, 0.05])
# A turn that was given is taken as exact.
_KNOWN_SD = 1e-6
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
# 0.8, 0.2, 0.03 for n = 4.  Layers of some 4 mm that face anywhere change each coefficient by about 1, 0.4 and
# 0.1 mm, against 2 to 5, 1.4 and 0.5 mm of the priors at 55 mm radius.
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
        (n,), (n, n) of the parameters of a, those of b, and what is left to add to the alignment's five.
    motion
        (size of b, 5) how b's parameters follow the latter.
    """

    a: Limb
    b: Limb
    low: float
    high: float
    mean: Array
    covariance: Array
    motion: Array

    def rows(self, rows_a: Array, rows_b: Array) -> Array:
        """Return the rows (N, n) that take ``rows_a`` of a from ``rows_b`` of b, moved as believed."""
        return np.hstack([-rows_a, rows_b, rows_b @ self.motion])

    def centre_rows(self, axis: int, splines_a: Array, splines_b: Array) -> Array:
        """Return the rows (N, n) of how b's centres lie off a's along x (0) or y (1)."""
        return self.rows(_term(self.a, 1 + axis, splines_a), _term(self.b, 1 + axis, splines_b))


@dataclass(frozen=True)
class _Link:
    """A Gaussian factor: ``rows @ unknowns`` has mean ``target`` and adds ``middle`` to the precision."""

    rows: Array
    middle: Array
    target: Array


def link_heights(low: float, high: float) -> Array:
    """Return the heights at which two limbs are linked, some 25 mm apart."""
    return np.linspace(low, high, int((high - low) // _SPACING_MM) + 1)


def solve_jointly(
    a: Limb, b: Limb, alignment: Alignment, kinship: Kinship, around: Array | None = None
) -> Joint:
    """Return the joint belief about ``a`` and ``b``, which need not have the same splines.

    Parameters
    ----------
    a, b
        Limbs as they were fitted, each alone.
    alignment
        Where to linearise b's motion, and how far each level's centre may have moved of itself.
    kinship
        How alike the shapes are.
    around
        (size of b,) the moved b's parameters as now believed, about which to linearise.
    """
    low, high = common_range(a, b)
    there = moved(alignment, b, a)
    around = there.mean if around is None else around
    motion = sensitivity(alignment, b.basis, around)
    known = alignment.turn_is_known
    motion_sd = np.array([_KNOWN_SD if known else MOTION_SD[0], *MOTION_SD[1:]])
    start = _start_state(alignment) - alignment.state
    mean = np.concatenate([a.mean, there.mean, start])
    root = block_diag(_root(a.covariance), _root(there.covariance), np.diag(motion_sd))
    joint = Joint(a, there, low, high, mean, root, motion)
    links = [*_shape_links(joint, b, around, alignment.level_mm, kinship), *_centre_links(joint, alignment)]
    rows = np.vstack([link.rows for link in links])
    middle = block_diag(*(link.middle for link in links))
    target = np.concatenate([link.target for link in links])
    # in units of the separate beliefs: their precision is the identity there
    white = rows @ root
    factor = cho_factor(np.eye(len(mean)) + white.T @ middle @ white, lower=True)
    half = cho_solve(factor, root.T)
    mean = mean + root @ (half @ (rows.T @ (middle @ (target - rows @ mean))))
    covariance = root @ half
    covariance = (covariance + covariance.T) / 2
    return replace(
        joint,
        a=_marginal(a, mean, covariance, 0),
        b=_marginal(there, mean, covariance, a.basis.size),
        mean=mean,
        covariance=covariance,
    )


def _start_state(alignment: Alignment) -> Array:
    """Return the five as they are expected beforehand."""
    return np.array([alignment.turn if alignment.turn_is_known else 0.0, 0.0, 0.0, 0.0, 0.0])


def _root(covariance: Array) -> Array:
    """Return G with ``G G' = covariance``, also where rounding made the covariance singular."""
    try:
        return np.asarray(cholesky(covariance, lower=True))
    except np.linalg.LinAlgError:
        pass
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def _marginal(limb: Limb, mean: Array, covariance: Array, start: int) -> Limb:
    part = slice(start, start + limb.basis.size)
    return replace(limb, mean=mean[part], covariance=covariance[part, part])


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
    return np.linalg.inv((prior + prior.T) / 2)


def _shape_links(joint: Joint, b: Limb, around: Array, z: Array, kinship: Kinship) -> list[_Link]:
    """Return two links per order from 2 on: the joint prior, and what takes back the two separate ones.

    What the section priors say of wide and deep belongs to one direction of the limb.  The prior of the moved
    limb is therefore taken back as it was turned, and stated again in the direction of the first limb.
    """
    along_a, along_b = joint.a.basis.splines(z), joint.b.basis.splines(z)
    off_prior = turning_rate(b.basis, around - joint.b.prior_mean)
    links = []
    for order in range(2, min(joint.a.basis.harmonics, joint.b.basis.harmonics) + 1):
        rows_a, rows_b = _order_rows(joint.a, order, along_a), _order_rows(joint.b, order, along_b)
        rho = kinship.at(order)
        own, turned = _precision(joint.a, order, along_a), _precision(joint.b, order, along_b)
        root = block_diag(cholesky(own), cholesky(_precision(b, order, along_b)))
        tied = np.kron([[1.0, -rho], [-rho, 1.0]], np.eye(2 * len(z))) / (1 - rho**2)
        rows = np.zeros((2 * len(rows_a), len(joint.mean)))
        rows[: len(rows_a), : joint.a.basis.size] = rows_a
        rows[len(rows_a) :, joint.a.basis.size : -MOTIONS] = rows_b
        turning = np.zeros_like(rows)
        turning[len(rows_a) :, -MOTIONS] = rows_b @ off_prior
        target = np.concatenate([rows_a @ joint.a.prior_mean, rows_b @ joint.b.prior_mean])
        links.append(_Link(rows + turning, root.T @ tied @ root, target))
        links.append(_Link(rows, -block_diag(own, turned), target))
    return links


def _centre_links(joint: Joint, alignment: Alignment) -> list[_Link]:
    """Return one link for x and one for y: centres agree but for what each level may have changed."""
    z, sd = alignment.level_mm, alignment.level_sd_mm
    distance = np.abs(z[:, None] - z) * np.sqrt(3.0) / _CENTRE_LENGTH_MM
    precision = np.linalg.inv(np.outer(sd, sd) * (1 + distance) * np.exp(-distance))
    along = (joint.a.basis.splines(z), joint.b.basis.splines(z))
    return [_Link(joint.centre_rows(axis, *along), precision, np.zeros(len(z))) for axis in (0, 1)]


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
