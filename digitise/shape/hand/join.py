"""The hand joined to its arm."""

from __future__ import annotations

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart, drawn_to
from digitise.shape.hand.figures import girth_beside_wrist
from digitise.shape.hand.prior import FOREARM_MM, WRIST, along_hand
from digitise.shape.limb import Limb, coefficients, girth
from digitise.shape.statistical.solve import KnownGirth, ShapeBelief

_PALM_UP = "palm-up"
_RING_MM = 6.0
_BEYOND_MM = 25.0  # so far into the hand an arm may begin
# An elbow is half as thick again as a wrist; an arm's beginning, where edges are unsure, was 10 % off.
_AS_THICK = 1.25
# Where an arm's girth tells of its hand: behind the wrist joint's own bulge, which a stretched hand has
# otherwise than a hanging one.  There girths grow by a millimetre each millimetre, and the crease is tapped
# to 3 mm and is not quite the joint: 4 mm.  With it the errors of hands seen from above and taped with
# an sd of 3 mm fell by a sixth (20 hands of bodies, exact outlines), at 40 mm by an eighth.
_ARM_TELLS_MM, _ARM_TELLS_SD_MM = 20.0, 4.0


def require_at_wrist(limb: Limb, wrist_mm: float) -> None:
    """Refuse an arm that does not begin where a hand ends.

    Parameters
    ----------
    limb
        The arm, its heights rising from the hand.
    wrist_mm
        Height of the wrist crease.

    Raises
    ------
    ShapeError
        It begins too far above the wrist, or beyond it.
    """
    above = limb.from_mm - wrist_mm
    if not -_BEYOND_MM <= above <= FOREARM_MM - 25.0:
        raise ShapeError(
            f"the arm is measured from {limb.from_mm:.0f} mm on, {above:.0f} mm above the wrist crease; the "
            f"hand ends {FOREARM_MM - 25.0:.0f} mm above it at most.",
            do="Tap the wrist crease as the landmark, and measure the arm from there.",
        )


def require_as_thick(belief: ShapeBelief, limb: Limb, wrist_mm: float) -> None:
    """Refuse an arm that is far thicker or thinner where it begins than the hand is there.

    Raises
    ------
    ShapeError
        It is: heights count from another place, or the two are not one person's.
    """
    own = girth_beside_wrist(belief.surface, limb.from_mm - wrist_mm)
    arm = float(girth(limb, np.array([limb.from_mm])).mean[0])
    if not own / _AS_THICK < arm < own * _AS_THICK:
        raise ShapeError(
            f"the arm is {arm:.0f} mm round where it begins, the hand {own:.0f} mm there.",
            do="Tap the wrist crease as the landmark, and give photographs of one arm and its own hand.",
        )


def girth_of_arm(limb: Limb, wrist_mm: float) -> KnownGirth:
    """Return what the arm tells of its hand: how thick it is a little above the wrist.

    Parameters
    ----------
    limb
        The arm, :func:`measured from its wrist on <require_at_wrist>`.
    wrist_mm
        Height of the wrist crease.
    """
    height = max(wrist_mm + _ARM_TELLS_MM, limb.from_mm)
    arm = girth(limb, np.array([height]))
    return KnownGirth(
        lambda surface: girth_beside_wrist(surface, height - wrist_mm),
        float(arm.mean[0]),
        float(np.hypot(arm.sd[0], _ARM_TELLS_SD_MM)),
    )


def join_hand(belief: ShapeBelief, limb: Limb, wrist_mm: float) -> EndPart:
    """Put a hand that lay on the mat onto the arm that it belongs to.

    Parameters
    ----------
    belief
        The hand, palm down on the mat.
    limb
        The arm, :func:`measured from its wrist on <require_at_wrist>`.
    wrist_mm
        Height of the wrist crease.
    """
    surface = belief.surface
    wrist, ahead = along_hand(surface)
    wrist = wrist + surface.vertices[WRIST] * [0.0, 0.0, 1.0]
    back = _back(limb)
    up = np.array([0.0, 0.0, 1.0])
    # along the hand is down the arm's axis, the back of the hand looks as the arm's posture says
    turn = np.column_stack([np.cross([0.0, 0.0, -1.0], back), [0.0, 0.0, -1.0], back]) @ np.vstack(
        [np.cross(ahead, up), ahead, up]
    )
    placed = (surface.vertices - wrist) @ turn.T + [0.0, 0.0, wrist_mm]
    ring = placed[np.abs(placed[:, 2] - limb.from_mm) < _RING_MM]
    mean, _ = coefficients(limb, np.array([limb.from_mm]))
    placed[:, :2] += mean[0, 1:3] - (ring.min(axis=0) + ring.max(axis=0))[:2] / 2.0
    joined = drawn_to(limb, placed, surface.prior.edges)
    return EndPart("hand", belief, limb.from_mm, joined, limb.from_mm - wrist_mm)


def _back(limb: Limb) -> Array:
    """Return where the back of the hand looks, a unit vector (3,) across the arm in its own frame."""
    up = limb.axis_from_world.rotation @ np.array([0.0, 0.0, 1.0])
    up = np.array([up[0], up[1], 0.0])
    return np.asarray(up / np.linalg.norm(up) * (-1.0 if limb.lying == _PALM_UP else 1.0))
