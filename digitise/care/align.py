"""Two limbs brought onto one another: the same limb at two visits, or one limb and the mirrored other.

The motion (:mod:`digitise.care.align_motion`) is estimated together with the shapes
(:mod:`digitise.care.change_joint`), for what no view sees must not vote on the turn: it is known from the same
prior at both visits and would always say that nobody turned.  What decides are the centres of the sections,
level by level, each with as much say as it has likely kept its place: swelling moves a centre by up to about
half of what it adds to the mean radius, which every visit sees.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from digitise.care.align_motion import Alignment, common_range
from digitise.care.change_joint import MOTION_SD, SAME_LIMB, Joint, Kinship, link_heights, solve_jointly
from digitise.geometry.rigid import Array
from digitise.geometry.support import orders
from digitise.shape.limb import Limb, girth

# Chosen beforehand: a layer of mean depth d that is d (1 + cos) thick moves the centre by d; layers are less
# one-sided on the whole.  Posture bends a limb by some 1.5 mm besides.
_CENTRE_PER_RADIUS = 0.5
_POSTURE_SD_MM = 1.5
_HUBER_Z = 1.345
_ROUNDS = 12
_STILL = 0.02


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
    now, quiet = _start(a, b, turn)
    around: Array | None = None
    for _ in range(_ROUNDS):
        joint = solve_jointly(a, b, now, kinship, around)
        step = joint.mean[-len(MOTION_SD) :]
        state = now.state + step
        sd = _level_sd(joint, now.level_mm, quiet)
        still = np.all(np.abs(step) < _STILL * np.sqrt(np.diag(joint.covariance)[-len(step) :]) + 1e-12)
        settled = np.allclose(sd, now.level_sd_mm, rtol=_STILL)
        now = replace(
            now,
            turn=float(state[0]),
            shift_mm=state[1:3],
            lean=state[3:],
            covariance=joint.covariance[-len(step) :, -len(step) :],
            level_sd_mm=sd,
        )
        if still and settled:
            break
        around = joint.b.mean + joint.motion @ step
    return now, joint


def _start(a: Limb, b: Limb, turn: float | None) -> tuple[Alignment, Array]:
    """Return b shifted onto a, and by how much each level's centre may have moved of itself, (N,) mm."""
    low, high = common_range(a, b)
    z = link_heights(low, high)
    swelling = (girth(b, z).mean - girth(a, z).mean) / (2 * np.pi)
    quiet = np.hypot(_POSTURE_SD_MM, _CENTRE_PER_RADIUS * swelling)
    centres = [limb.basis.splines(z) @ limb.mean.reshape(limb.basis.n_terms, -1)[1:3].T for limb in (a, b)]
    middle = np.median(centres[1], axis=0)
    start = Alignment(
        turn or 0.0,
        np.median(centres[0] - centres[1], axis=0),
        np.zeros(2),
        np.array([*middle, (low + high) / 2]),
        np.diag(MOTION_SD**2),
        turn is not None,
        z,
        quiet,
    )
    return start, quiet


def _level_sd(joint: Joint, z: Array, quiet: Array) -> Array:
    """Return the levels' sd with those raised that stand out (Huber: their pull is bounded)."""
    along = (joint.a.basis.splines(z), joint.b.basis.splines(z))
    left = [joint.centre_rows(axis, *along) @ joint.mean for axis in (0, 1)]
    score = np.hypot(*left) / (np.sqrt(2.0) * quiet)
    spread = max(1.0, float(np.median(score)) / np.sqrt(np.log(2.0)))
    return np.asarray(quiet * spread * np.sqrt(np.maximum(1.0, score / (_HUBER_Z * spread))))
