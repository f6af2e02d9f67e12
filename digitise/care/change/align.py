"""Two limbs brought onto one another: the same limb at two visits, or one limb and the mirrored other.

The motion (:mod:`digitise.care.change.motion`) is estimated with all that the views saw and no more: what no
view sees is known from the same prior at both visits and would always say that nobody turned.  What decides
are the centres of the sections, level by level, each with as much say as it has likely kept its place:
swelling moves a centre by up to about half of what it adds to the mean radius, which every visit sees.

Two silhouettes tell a turn to some degrees only, so everything is averaged over turns by their evidence, and
the spread of that average is carried on.  That the limbs' shapes are alike has no say in the turn: how smooth
and how small the higher harmonics are is known too roughly.  Where it was given a say, on drawn legs, it
stated the turn to 2.5 degrees and was off by 6 to 7.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from digitise.care.change.gaussian_factors import link_heights
from digitise.care.change.joint_posterior import Joint, SeparatePosteriors, joint_belief
from digitise.care.change.likeness import SAME_LIMB, Likeness
from digitise.care.change.motion import Alignment, common_range
from digitise.care.change.turn_evidence import PoseEstimate, TurnEvidence, gauss_rule
from digitise.geometry.rigid import Array
from digitise.geometry.support import mirrored_signs
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
# Figures run so smoothly with the turn that Gauss's rule with three turns gives the means and sds of the full
# average to 1 % of an sd.
_JOINED_TURNS = 3


def mirror(limb: Limb) -> Limb:
    """Return the limb mirrored from x to -x of its axis frame, as a limb of the other side."""
    sign = np.repeat(mirrored_signs(limb.basis.harmonics), limb.basis.n_splines)
    both = np.outer(sign, sign)
    shared = limb.shared
    if shared is not None:
        shared = replace(shared, with_shape=sign[:, None] * shared.with_shape)
    considered = limb.considered
    if considered is not None:
        considered = sign[:, None] * considered
    print_scale = limb.print_scale
    if print_scale is not None:
        print_scale = sign * print_scale
    return replace(
        limb,
        side=limb.side.other,
        mean=sign * limb.mean,
        covariance=both * limb.covariance,
        prior_mean=sign * limb.prior_mean,
        prior_precision=both * limb.prior_precision,
        shared=shared,
        considered=considered,
        print_scale=print_scale,
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
        When kind or side differ or the common segment is too short.
    """
    start = _start(a, b)
    sight = TurnEvidence.of(a, b, start.level_mm)
    turns, weight, stances = _search(sight, start, turn)
    start = replace(start, level_sd_mm=_level_sd(start, weight, stances))
    if turn is None:
        mean, spread = _moments(weight, [(np.array([t]), np.zeros((1, 1))) for t in turns])
        turns = mean[0] + max(float(np.sqrt(spread[0, 0])), _step(turns) / 2) * _STEPS
    weight, stances = _weigh(sight, start, turns, given=turn is not None)
    states = [_state(start, t, found) for t, found in zip(turns, stances, strict=True)]
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
    a: Limb,
    b: Limb,
    *,
    turn: float | None = None,
    likeness: Likeness = SAME_LIMB,
    same_sheets: bool = True,
) -> tuple[Alignment, Joint]:
    """Return the alignment as :func:`align` does, and the joint belief of shapes so alike, over all turns."""
    alignment = align(a, b, turn=turn)
    apart = SeparatePosteriors.of(a, b, alignment.level_mm, same_sheets=same_sheets)
    turns, weight = gauss_rule(alignment.turns, alignment.weight, _JOINED_TURNS)
    shapes = [apart.joined(replace(alignment, turn=float(each)), likeness) for each in turns]
    return alignment, joint_belief(a, b, alignment, *_moments(weight, shapes))


def _step(turns: Array) -> float:
    return float(turns[1] - turns[0]) if len(turns) > 1 else 0.0


def _search(
    sight: TurnEvidence, start: Alignment, turn: float | None
) -> tuple[Array, Array, tuple[PoseEstimate, ...]]:
    """Return turns whose steps are not much wider than what they resolve, their weights and stances."""
    if turn is not None:
        turns = np.array([turn])
        return turns, *_weigh(sight, start, turns, given=True)
    turns = TURN_SD * _STEPS
    for _ in range(_SEARCHES):
        weight, stances = _weigh(sight, start, turns, given=False)
        middle = float(weight @ turns)
        sd = float(np.sqrt(weight @ (turns - middle) ** 2))
        if sd > _step(turns) / 2:
            break
        turns = middle + _step(turns) / 2 * _STEPS
    return turns, weight, stances


def _weigh(
    sight: TurnEvidence, start: Alignment, turns: Array, *, given: bool
) -> tuple[Array, tuple[PoseEstimate, ...]]:
    """Return the weights of equally spaced ``turns`` (N,), which sum to one, and the stances for them."""
    stances = tuple(sight.stance(replace(start, turn=float(turn))) for turn in turns)
    score = np.array([found.log_evidence for found in stances])
    score -= 0.0 if given else 0.5 * (turns / TURN_SD) ** 2
    weight = np.exp(score - score.max())
    return weight / weight.sum(), stances


def _state(start: Alignment, turn: float, found: PoseEstimate) -> tuple[Array, Array]:
    """Return mean and covariance of turn, shift and lean for one turn."""
    covariance = np.zeros((5, 5))
    covariance[1:, 1:] = found.covariance
    return np.array([turn, *(start.state[1:] + found.mean)]), covariance


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
    return limb.basis.sections(mean, z)[:, 1:3]


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


def _level_sd(start: Alignment, weight: Array, stances: tuple[PoseEstimate, ...]) -> Array:
    """Return the levels' sd, raised where a level stands out: its pull is bounded (Huber)."""
    quiet = start.level_sd_mm
    left = np.einsum("n,nlk->lk", weight, np.stack([found.apart_mm for found in stances]))
    score = np.hypot(*left.T) / (np.sqrt(2.0) * quiet)
    # the median of a Rayleigh variable with this scale is sqrt(ln 2)
    spread = max(1.0, float(np.median(score)) / np.sqrt(np.log(2.0)))
    return np.asarray(quiet * spread * np.sqrt(np.maximum(1.0, score / (_HUBER_Z * spread))))
