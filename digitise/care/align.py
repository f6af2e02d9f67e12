"""Two limbs brought onto one another: the same limb at two visits, or one limb and the mirrored other.

The motion (:mod:`digitise.care.align_motion`) is estimated with all that the views saw and no more: what no
view sees is known from the same prior at both visits and would always say that nobody turned.  What decides
are the centres of the sections, level by level, each with as much say as it has likely kept its place:
swelling moves a centre by up to about half of what it adds to the mean radius, which every visit sees.

Two silhouettes tell a turn to some degrees only, so everything is averaged over turns by their evidence, and
the spread of that average is carried on.  That the limbs' shapes are alike has no say in the turn: how smooth
and how small the higher harmonics are is known too roughly for that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from digitise.care.align_motion import Alignment, common_range, offsets
from digitise.care.change_joint import (
    SAME_LIMB,
    UNRELATED,
    Joint,
    Kinship,
    Solution,
    joint_belief,
    link_heights,
    solve_at,
)
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
# Turns one sd apart within 3 sd: the sum of a normal curve's values at such steps is its integral to 1e-8.
_STEPS = np.arange(-3.0, 4.0)
_SEARCHES = 4
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


def align(a: Limb, b: Limb, *, turn: float | None = None) -> Alignment:
    """Find how ``b`` must be moved to lie on ``a``.

    Parameters
    ----------
    a, b
        Limbs of one kind and side; mirror one of them to compare the two sides.
    turn
        The turn in radians where it is known; estimated when None.

    Raises
    ------
    ModelError
        When kind or side differ or the common stretch is too short.
    """
    start = _start(a, b)
    turns, weight, solutions = _search(a, b, start, turn)
    start = replace(start, level_sd_mm=_level_sd(a, b, start, weight, solutions))
    if turn is None:
        mean, spread = _moments(weight, [(np.array([t]), np.zeros((1, 1))) for t in turns])
        turns = mean[0] + max(float(np.sqrt(spread[0, 0])), _step(turns) / 2) * _STEPS
    weight, solutions = _weigh(a, b, start, turns, given=turn is not None)
    states = [_state(start, t, found) for t, found in zip(turns, solutions, strict=True)]
    mean, covariance = _moments(weight, states)
    return replace(
        start,
        turn=float(mean[0]),
        shift_mm=mean[1:3],
        lean=mean[3:],
        covariance=covariance,
        turns=turns,
        weight=weight,
    )


def align_and_solve(
    a: Limb, b: Limb, *, turn: float | None = None, kinship: Kinship = SAME_LIMB
) -> tuple[Alignment, Joint]:
    """Return the alignment as :func:`align` does, and the joint belief of shapes so alike, over all turns."""
    alignment = align(a, b, turn=turn)
    ways = offsets(b.basis, alignment.pivot_mm)
    used = alignment.weight > _LEAST_WEIGHT
    weight = alignment.weight[used] / alignment.weight[used].sum()
    shapes = []
    for each in alignment.turns[used]:
        found = solve_at(a, b, replace(alignment, turn=float(each)), kinship)
        shapes.append(found.read(found.place(ways)))
    return alignment, joint_belief(a, b, alignment, *_moments(weight, shapes))


def _step(turns: Array) -> float:
    return float(turns[1] - turns[0]) if len(turns) > 1 else 0.0


def _search(
    a: Limb, b: Limb, start: Alignment, turn: float | None
) -> tuple[Array, Array, tuple[Solution, ...]]:
    """Return turns whose steps are not much wider than what they resolve, their weights and solutions."""
    if turn is not None:
        turns = np.array([turn])
        return turns, *_weigh(a, b, start, turns, given=True)
    turns = TURN_SD * _STEPS
    for _ in range(_SEARCHES):
        weight, solutions = _weigh(a, b, start, turns, given=False)
        middle = float(weight @ turns)
        sd = float(np.sqrt(weight @ (turns - middle) ** 2))
        if sd > _step(turns) / 2:
            break
        turns = middle + _step(turns) / 2 * _STEPS
    return turns, weight, solutions


def _weigh(
    a: Limb, b: Limb, start: Alignment, turns: Array, *, given: bool
) -> tuple[Array, tuple[Solution, ...]]:
    """Return the weights of equally spaced ``turns`` (N,), which sum to one, and the solutions for them."""
    solutions = tuple(solve_at(a, b, replace(start, turn=float(turn)), UNRELATED) for turn in turns)
    score = np.array([found.log_evidence for found in solutions])
    score -= 0.0 if given else 0.5 * (turns / TURN_SD) ** 2
    weight = np.exp(score - score.max())
    return weight / weight.sum(), solutions


def _state(start: Alignment, turn: float, found: Solution) -> tuple[Array, Array]:
    """Return mean and covariance of turn, shift and lean for one turn."""
    stand, spread = found.stand()
    covariance = np.zeros((5, 5))
    covariance[1:, 1:] = spread
    return np.array([turn, *(start.state[1:] + stand)]), covariance


def _moments(weight: Array, parts: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Return mean and covariance of a mixture of Gaussians."""
    mean, covariance = np.zeros_like(parts[0][0]), np.zeros_like(parts[0][1])
    for w, (centre, _) in zip(weight, parts, strict=True):
        mean += w * centre
    for w, (centre, spread) in zip(weight, parts, strict=True):
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
    return Alignment(0.0, shift, np.zeros(2), pivot, np.zeros((5, 5)), z, level_sd, np.zeros(1), np.ones(1))


def _level_sd(a: Limb, b: Limb, start: Alignment, weight: Array, solutions: tuple[Solution, ...]) -> Array:
    """Return the levels' sd, raised where a level stands out: its pull is bounded (Huber)."""
    z, quiet = start.level_mm, start.level_sd_mm
    n = a.basis.size
    ways = offsets(b.basis, start.pivot_mm)
    mean = weight @ np.stack([found.place(ways) @ found.mean for found in solutions])
    left = _centres(b, mean[n:], z) - _centres(a, mean[:n], z)
    score = np.hypot(*left.T) / (np.sqrt(2.0) * quiet)
    # the median of a Rayleigh variable with this scale is sqrt(ln 2)
    spread = max(1.0, float(np.median(score)) / np.sqrt(np.log(2.0)))
    return np.asarray(quiet * spread * np.sqrt(np.maximum(1.0, score / (_HUBER_Z * spread))))
