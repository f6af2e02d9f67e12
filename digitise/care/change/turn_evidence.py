"""What each turn of the second limb would mean, from all that the views saw and no more.

Only the centres of the sections, and what the prior says of wide and deep, tell a turn apart from others.  So
the beliefs about two limbs are reduced to those few numbers at the common heights once, and every turn that
comes into question is tried on them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from digitise.care.change.gaussian_factors import (
    STAND_SD,
    AnatomyPrior,
    CoefficientIndex,
    anatomy_prior,
    centre_links,
    condition,
    facing_link,
    information,
)
from digitise.care.change.motion import Alignment, rotation
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb

_SUPPORT = 1e-9
# Higher orders are small and alike all round: they say next to nothing of a turn.
_TELLING = (2, 3, 4)


@dataclass(frozen=True)
class PoseEstimate:
    """How the person stands if the turn is so much.

    Attributes
    ----------
    mean, covariance
        (4,), (4, 4) of what is to be added to the alignment's shift and lean.
    apart_mm
        (Z, 2) by how far the centres of the second limb then lie from those of the first.
    log_evidence
        Of the turn, up to a constant.
    """

    mean: Array
    covariance: Array
    apart_mm: Array
    log_evidence: float


@dataclass(frozen=True)
class TurnEvidence:
    """What decides the turn: two limbs at the common heights.

    Attributes
    ----------
    level_mm
        (Z,) the heights.
    orders
        Of the second limb: 1, and those whose prior has a direction.
    centre, centre_precision
        (2 Z,), (2 Z, 2 Z): x, then y, of the first limb's centres.
    there, there_precision
        (2 Z per order,): cosine, then sine, of the second limb's orders.
    prior
        Of the second limb's orders from 2 on, or None where it has no direction.
    """

    level_mm: Array
    orders: tuple[int, ...]
    centre: Array
    centre_precision: Array
    there: Array
    there_precision: Array
    prior: AnatomyPrior | None

    @classmethod
    def of(cls, a: Limb, b: Limb, level_mm: Array) -> TurnEvidence:
        """Reduce two limbs to what they say at the levels."""
        prior = anatomy_prior(b, level_mm).of(_TELLING)
        faces = prior.faces
        orders = (1, *prior.orders) if faces else (1,)
        here, there = _values(a, (1,), level_mm), _values(b, orders, level_mm)
        return cls(
            level_mm,
            orders,
            here[0],
            information(here[1]),
            there[0],
            information(there[1]),
            prior if faces else None,
        )

    def stance(self, alignment: Alignment) -> PoseEstimate:
        """Return how the person stands if the turn is that of ``alignment``, a first guess of the rest."""
        z, eye = self.level_mm, np.eye(len(self.level_mm))
        wave = block_diag(*(np.kron(rotation(order * alignment.turn), eye) for order in self.orders))
        count = len(self.centre)
        stand = count + len(self.there) + np.arange(len(STAND_SD))
        terms = CoefficientIndex(0, (1,), 0, eye), CoefficientIndex(count, self.orders, 0, eye)
        links = centre_links(alignment, terms, stand)
        if self.prior is not None:
            links.append(facing_link(self.prior, alignment.turn, terms[1]))
        there_precision = wave @ self.there_precision @ wave.T
        precision = block_diag(self.centre_precision, there_precision, np.diag(STAND_SD**-2))
        mean = np.concatenate([self.centre, self._moved(alignment, wave), np.zeros(len(stand))])
        belief = condition(precision, mean, links)
        here, there = belief.mean[:count], belief.mean[count : 2 * count]
        apart = (there - here).reshape(2, -1) + alignment.ways(z) @ belief.mean[stand]
        rows = np.eye(len(mean))[stand]
        return PoseEstimate(belief.mean[stand], belief.covariance(rows), apart.T, belief.log_evidence)

    def _moved(self, alignment: Alignment, wave: Array) -> Array:
        """Return the second limb's values turned by ``wave`` about the pivot, shifted and leaned."""
        count = len(self.centre)
        pivot = np.zeros(len(self.there))
        pivot[:count] = np.repeat(alignment.pivot_mm[:2], count // 2)
        found = pivot + wave @ (self.there - pivot)
        found[:count] += (alignment.ways(self.level_mm) @ alignment.state[1:]).ravel()
        return found


def _values(limb: Limb, orders: Iterable[int], z: Array) -> tuple[Array, Array]:
    """Return mean and covariance of the orders' cosines and sines at heights (Z,)."""
    n = limb.basis.n_splines
    terms = np.array([term for order in orders for term in (2 * order - 1, 2 * order)])
    columns = (terms[:, None] * n + np.arange(n)).ravel()
    rows = np.kron(np.eye(len(terms)), limb.basis.splines(z))
    return rows @ limb.mean[columns], rows @ limb.covariance[np.ix_(columns, columns)] @ rows.T


def gauss_rule(turns: Array, weight: Array, count: int) -> tuple[Array, Array]:
    """Return few turns that stand for many: Gauss's rule for the ``weight`` (N,) on ``turns`` (N,).

    Averages of polynomials of degree ``2 count - 1`` are exact.  The nodes are the eigenvalues of the matrix
    of the recurrence that orthogonal polynomials obey (Golub and Welsch 1969, from memory).

    Returns
    -------
    turns, weight
        (M,), (M,) with M at most ``count``, and less where there are fewer turns to begin with.
    """
    middle = float(weight @ turns)
    reach = float(np.sqrt(weight @ (turns - middle) ** 2))
    if reach < _SUPPORT:
        return np.array([middle]), np.ones(1)
    x = (turns - middle) / reach
    vectors, diagonal, beside = [np.sqrt(weight)], [], []
    for _ in range(count):
        last = vectors[-1]
        diagonal.append(float(last @ (x * last)))
        rest = x * last
        for vector in vectors * 2:
            rest = rest - (vector @ rest) * vector
        beside.append(float(np.linalg.norm(rest)))
        if beside[-1] < _SUPPORT:
            break
        vectors.append(rest / beside[-1])
    inner = beside[: len(diagonal) - 1]
    nodes, waves = np.linalg.eigh(np.diag(diagonal) + np.diag(inner, 1) + np.diag(inner, -1))
    return middle + reach * nodes, waves[0] ** 2
