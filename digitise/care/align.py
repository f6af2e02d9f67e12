"""Two limbs brought onto one another: the same limb at two visits, or one limb and the mirrored other.

The motion (:mod:`digitise.care.align_motion`) is estimated together with the shapes
(:mod:`digitise.care.change_joint`), for what no view sees must not vote on the turn: it is known from the same
prior at both visits and would always say that nobody turned.  What decides are the centres of the sections,
level by level, each with as much say as it has likely kept its place: swelling moves a centre by up to about
half of what it adds to the mean radius, which every visit sees.  Two silhouettes tell a turn to a few degrees
only, so the result is an average over turns by their evidence, and the spread of that average is carried on.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from digitise.care.align_motion import Alignment, common_range, offsets
from digitise.care.change_joint import SAME_LIMB, Joint, Kinship, joint_belief, link_heights, solve_at
from digitise.geometry.rigid import Array
from digitise.geometry.support import orders
from digitise.shape.limb import Limb, girth

# Chosen beforehand.  How differently a person turns on the same footprints, or another limb: 6 degrees.
TURN_SD = 0.1
# A layer of mean depth d that is d (1 + cos) thick moves the centre by d; layers are less one-sided on the
# whole.  Posture bends a limb by some 1.5 mm besides.
_CENTRE_PER_RADIUS = 0.5
_POSTURE_SD_MM = 1.5
_HUBER_Z = 1.345
# Turns are averaged on a grid of half a sd within 3 sd, found in two rounds.
_TURNS = np.linspace(-3.0, 3.0, 13)
_LEAST_WEIGHT = 1e-3


def mirror(limb: Limb) -> Limb:
    """Return the limb mirrored from x to -x of its axis frame, as a limb of the other side.

    ``h(theta)`` becomes ``h(pi - theta)``: cosines of order k take the sign (-1)^k, sines the opposite one.
    """
    k = orders(limb.basis.harmonics)
    cosine = np.where(k % 2 == 0, 1.0, -1.0)
    is_sine = np.concatenate([[False], np.tile([False, True], limb.basis.harmonics)])
    sign = np.repeat(np.where(is_sine, -cosine, cosine), limb.basis.n_splines)
    both = np.outer(sign, sign)
    return replace(
        limb,
        side="right" if limb.side == "left" else "left",
        mean=sign * limb.mean,
        covariance=both * limb.covariance,
        prior_mean=sign * limb.prior_mean,
        prior_precision=both * limb.prior_precision,
    )


def align(a: Limb, b: Limb, *, turn: float | None = None, kinship: Kinship = SAME_LIMB) -> Alignment:
    """Find how ``b`` must be moved to lie on ``a``.

    Parameters
    ----------
    a, b
        Limbs of one kind and side; mirror one of them to compare the two sides.
    turn
        The turn in radians where it is known; estimated when None.
    kinship
        How alike the shapes are.

    Raises
    ------
    ModelError
        When kind or side differ or the common stretch is too short.
    """
    return align_and_solve(a, b, turn=turn, kinship=kinship)[0]


def align_and_solve(
    a: Limb, b: Limb, *, turn: float | None = None, kinship: Kinship = SAME_LIMB
) -> tuple[Alignment, Joint]:
    """Return the alignment as :func:`align` does, and the joint belief that goes with it."""
    start = _start(a, b)
    if turn is not None:
        first = _average(a, b, start, np.array([turn]), kinship)
        alignment = replace(start, level_sd_mm=_level_sd(a, b, start, first))
        final = _average(a, b, alignment, np.array([turn]), kinship)
    else:
        first = _average(a, b, start, TURN_SD * _TURNS, kinship)
        alignment = replace(start, level_sd_mm=_level_sd(a, b, start, first))
        final = _average(a, b, alignment, first.state[0] + first.turn_sd * _TURNS, kinship)
    alignment = replace(
        alignment,
        turn=float(final.state[0]),
        shift_mm=final.state[1:3],
        lean=final.state[3:],
        covariance=final.state_covariance,
    )
    return alignment, joint_belief(a, b, alignment, final.mean, final.covariance)


@dataclass(frozen=True)
class _Average:
    """Moments over turns, each with its share of the evidence.

    ``state`` (5,) is turn, shift and lean; ``mean`` (n,) the parameters of a and of b in a's frame.
    """

    state: Array
    state_covariance: Array
    mean: Array
    covariance: Array

    @property
    def turn_sd(self) -> float:
        return float(np.sqrt(self.state_covariance[0, 0]))


def _average(a: Limb, b: Limb, start: Alignment, turns: Array, kinship: Kinship) -> _Average:
    """Average the joint beliefs at equally spaced ``turns`` (N,)."""
    solutions = [solve_at(a, b, replace(start, turn=float(turn)), kinship) for turn in turns]
    score = np.array([found.log_evidence for found in solutions]) - 0.5 * (turns / TURN_SD) ** 2
    weight = np.exp(score - score.max())
    weight[weight < _LEAST_WEIGHT * weight.max()] = 0.0
    weight /= weight.sum()
    ways = offsets(b.basis, start.pivot_mm)
    states, shapes = [], []
    for turn, found in zip(turns, solutions, strict=True):
        state = np.array([turn, *(start.state[1:] + found.mean[-4:])])
        spread = np.zeros((5, 5))
        spread[1:, 1:] = found.covariance[-4:, -4:]
        states.append((state, spread))
        shapes.append(found.placed(ways))
    return _Average(*_moments(weight, states), *_moments(weight, shapes))


def _moments(weight: Array, parts: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Return mean and covariance of a mixture of Gaussians."""
    mean = sum((w * part[0] for w, part in zip(weight, parts, strict=True)), np.zeros_like(parts[0][0]))
    covariance = np.zeros_like(parts[0][1])
    for w, (centre, spread) in zip(weight, parts, strict=True):
        if w > 0:
            covariance += w * (spread + np.outer(centre - mean, centre - mean))
    return mean, covariance


def _centres(limb: Limb, mean: Array, z: Array) -> Array:
    """Return the sections' centres (N, 2) for parameters ``mean``."""
    return limb.basis.splines(z) @ mean.reshape(limb.basis.n_terms, -1)[1:3].T


def _start(a: Limb, b: Limb) -> Alignment:
    """Return b shifted onto a, with how far each level's centre may have moved of itself."""
    low, high = common_range(a, b)
    z = link_heights(low, high)
    swelling = (girth(b, z).mean - girth(a, z).mean) / (2 * np.pi)
    there, here = _centres(b, b.mean, z), _centres(a, a.mean, z)
    pivot = np.array([*np.median(there, axis=0), (low + high) / 2])
    shift = np.median(here - there, axis=0)
    level_sd = np.hypot(_POSTURE_SD_MM, _CENTRE_PER_RADIUS * swelling)
    return Alignment(0.0, shift, np.zeros(2), pivot, np.zeros((5, 5)), z, level_sd)


def _level_sd(a: Limb, b: Limb, start: Alignment, found: _Average) -> Array:
    """Return the levels' sd, raised where a level stands out: its pull is bounded (Huber)."""
    z, quiet = start.level_mm, start.level_sd_mm
    n = a.basis.size
    left = _centres(b, found.mean[n:], z) - _centres(a, found.mean[:n], z)
    score = np.hypot(*left.T) / (np.sqrt(2.0) * quiet)
    # the median of a Rayleigh variable with this scale is sqrt(ln 2)
    spread = max(1.0, float(np.median(score)) / np.sqrt(np.log(2.0)))
    return np.asarray(quiet * spread * np.sqrt(np.maximum(1.0, score / (_HUBER_Z * spread))))
