"""Two limbs solved together, because what no view sees is nearly the same in both.

Each limb is a Gaussian belief that came from its own prior and its own evidence.  A limb's anatomy (the
triangle of the calf, the flat of the shin) stays while its swelling changes, so the harmonics of order 2
and more are one anatomy plus what the swelling may have changed (:mod:`digitise.care.change.likeness`).  The
two may have different splines.

Mean radius (order 0) is seen in every visit and stays uncorrelated; centres (order 1) move with the person
and by what :class:`~digitise.care.change.motion.Alignment` allows each level.  What pushed all edges or all
tape rows alike at one visit mostly did so at the other too, so it cancels from a difference; all other errors
of tape and outline are independent between visits.  Given the turn all this is linear and Gaussian.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag

from digitise.care.change.gaussian_factors import (
    STAND_SD,
    AnatomyPrior,
    CoefficientIndex,
    anatomy_prior,
    centre_links,
    condition,
    information,
    kin_factors,
    shared_factors,
)
from digitise.care.change.likeness import Likeness
from digitise.care.change.motion import (
    Alignment,
    common_range,
    moved,
    offsets,
    turned,
    turned_square,
)
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape.basis import Basis
from digitise.shape.limb import MM3_PER_ML, Limb, girth


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
    depth_mm
        (Z,) by how much the mean radius differs there.
    precision_a, precision_b
        Of their parameters, then of the errors that they may share.
    prior_a, prior_b
        Of the orders that both have, at the levels.
    same_sheets
        Whether both were measured on the same printed sheets.
    """

    a: Limb
    b: Limb
    level_mm: Array
    depth_mm: Array
    precision_a: Array
    precision_b: Array
    prior_a: AnatomyPrior
    prior_b: AnatomyPrior
    same_sheets: bool

    @classmethod
    def of(cls, a: Limb, b: Limb, level_mm: Array, *, same_sheets: bool) -> SeparatePosteriors:
        """Gather what two limbs say at the levels."""
        first, second = anatomy_prior(a, level_mm), anatomy_prior(b, level_mm)
        both = min(first.orders, second.orders, key=len)
        return cls(
            a,
            b,
            level_mm,
            (girth(b, level_mm).mean - girth(a, level_mm).mean) / (2 * np.pi),
            information(_with_errors(a)),
            information(_with_errors(b)),
            first.of(both),
            second.of(both),
            same_sheets,
        )

    def joined(self, alignment: Alignment, likeness: Likeness) -> tuple[Array, Array]:
        """Return mean and covariance of the parameters of both, b in the frame of a, for one turn.

        Parameters
        ----------
        alignment
            The turn, a first guess of shift and lean, and how far each level's centre may have moved of
            itself.
        likeness
            How alike the shapes are.
        """
        a, b, turn = self.a, self.b, alignment.turn
        size_a, size_b = a.basis.size, b.basis.size
        start_b = len(self.precision_a)
        stand = start_b + len(self.precision_b) + np.arange(len(STAND_SD))
        terms = _terms(a, self.level_mm, 0), _terms(b, self.level_mm, start_b)
        links = centre_links(alignment, terms, stand)
        first, second = self.prior_a, self.prior_b
        prior = np.asarray(np.linalg.inv(first.common(second)), float)
        difference = likeness.difference(first.orders, self.level_mm, self.depth_mm, prior)
        links += kin_factors(first, second, turn, difference, terms)
        if a.shared is not None and b.shared is not None:
            links += shared_factors(np.arange(size_a, start_b), np.arange(start_b + size_b, stand[0]))
        precision = block_diag(
            self.precision_a, _turned_start(b.basis, turn, self.precision_b), np.diag(STAND_SD**-2)
        )
        place_b = moved(alignment, b, a).mean
        mean = np.concatenate([a.mean, _errors(a), place_b, _errors(b), np.zeros(len(STAND_SD))])
        belief = condition(precision, mean, links)
        wanted = np.concatenate([np.arange(size_a), start_b + np.arange(size_b), stand])
        every = belief.covariance()
        swayed = every @ (precision @ self._displacements(turn, len(mean), start_b))
        ways = offsets(alignment, b.basis)
        found, covariance = _in_place(belief.mean[wanted], every[np.ix_(wanted, wanted)], ways)
        response = _moved_along(swayed[wanted], ways)
        return found, covariance + response @ response.T

    def _displacements(self, turn: float, size: int, start_b: int) -> Array:
        """Return how lips, a lying limb's axis and the print displace what each limb is, (size, S).

        They are considered, not estimated (Schmidt 1966, from memory): were the doubt they leave given to the
        joint solve, it would take a difference in shape for another axis. What the solve makes of such a
        displacement counts: where it is a shift or a lean, the second limb is brought back onto the first.
        The same sheets are off alike for both; what a limb of an earlier version does not say of its sheets
        is then taken to be as in the other.
        """
        (apart, scale), (apart_b, scale_b) = _columns(self.a, 0.0), _columns(self.b, turn)
        own, own_b = [apart], [apart_b]
        together = np.zeros((size, 0))
        if not self.same_sheets:
            own, own_b = [apart, scale], [apart_b, scale_b]
        elif scale.shape[1] == scale_b.shape[1]:
            together = np.zeros((size, scale.shape[1]))
            together[: len(scale)], together[start_b : start_b + len(scale_b)] = scale, scale_b
        first, second = np.hstack(own), np.hstack(own_b)
        found = np.zeros((size, first.shape[1] + second.shape[1]))
        found[: len(first), : first.shape[1]] = first
        found[start_b : start_b + len(second), first.shape[1] :] = second
        return np.hstack([found, together])


def _columns(limb: Limb, turn: float) -> tuple[Array, Array]:
    """Return a limb's responses to errors of its own (p, S) and to its print's scale (p, 1 or 0), turned."""
    none = np.zeros((limb.basis.size, 0))
    own = none if limb.considered is None else limb.considered
    print_scale = none if limb.print_scale is None else limb.print_scale[:, None]
    return turned(limb.basis, turn, own), turned(limb.basis, turn, print_scale)


def _errors(limb: Limb) -> Array:
    return np.zeros(0) if limb.shared is None else limb.shared.mean


def _with_errors(limb: Limb) -> Array:
    """Return the covariance of the parameters and of the errors that another limb may share.

    Without what lips, a lying limb's axis and the print add: of these nothing may be learnt.
    """
    own = limb.covariance
    for column in _columns(limb, 0.0):
        own = own - column @ column.T
    if limb.shared is None:
        return own
    beside = limb.shared.with_shape
    return np.block([[own, beside], [beside.T, limb.shared.covariance]])


def _turned_start(basis: Basis, turn: float, precision: Array) -> Array:
    """Return a precision of parameters and errors with the parameters, which come first, turned."""
    n = basis.size
    found = precision.copy()
    found[:n, :n] = turned_square(basis, turn, precision[:n, :n])
    found[:n, n:] = turned(basis, turn, precision[:n, n:])
    found[n:, :n] = found[:n, n:].T
    return found


def _terms(limb: Limb, z: Array, first: int) -> CoefficientIndex:
    return CoefficientIndex(first, tuple(range(1, limb.basis.harmonics + 1)), 1, limb.basis.splines(z))


def _in_place(mean: Array, covariance: Array, ways: Array) -> tuple[Array, Array]:
    """Return the belief about the parameters with b (its last ones) moved the ``ways`` (size of b, 4)."""
    n = len(mean) - ways.shape[1]
    here = slice(n - len(ways), n)
    found, spread = _moved_along(mean, ways), covariance[:n, :n].copy()
    with_stand = covariance[:n, n:] @ ways.T
    spread[:, here] += with_stand
    spread[here] += with_stand.T
    spread[here, here] += ways @ covariance[n:, n:] @ ways.T
    return found, spread


def _moved_along(values: Array, ways: Array) -> Array:
    """Return parameters (n, ...) of both with b moved by how it stands, the last of ``values``."""
    n = len(values) - ways.shape[1]
    found = values[:n].copy()
    found[n - len(ways) :] += ways @ values[n:]
    return found


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
