"""The way of a bandage over a foot or hand that was taped and not photographed.

The foot: from the girths of the ball and round heel and instep alone: places and girths of the way are
shares of these and of the foot's length, settled on 200 feet of a parametric body, swollen at random. On
200 others the length of a layer from the toes up to the leg erred by 3 % rms with a taped length and by 4 %
without.

The hand: from the girth of the palm, and that of the wrist where it was taped, else of the arm where it
begins. Shares were settled on 300 hands drawn from the usual hand (:mod:`digitise.shape.hand.prior`). On
150 others the length over the hand erred by 8 % rms, and by 4 % with the hand's length taped.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.surface.way import Way
from digitise.shape.limb import Limb, girth

PALM = "palm"
"""The place that must be taped on a hand."""
# Of the hand's length, or else of the palm's girth: from behind the knuckles to the wrist.
_PALM_OVER_LENGTH, _PALM_OVER_GIRTH = 0.499, 0.474
# Where on that way, and what goes round there, of the palm's girth and the wrist's: up to an eighth the palm,
# then the thumb's base as well.
_ON_HAND = (
    (0.0, 0.98, 0.03),
    (0.125, 0.95, 0.06),
    (0.25, 1.18, 0.02),
    (0.375, 1.32, -0.07),
    (0.5, 1.15, 0.06),
    (0.625, 0.92, 0.25),
    (0.75, 0.52, 0.59),
    (0.875, 0.16, 0.88),
    (1.0, 0.0, 1.0),
)
_FURTHEST_MM = 60.0  # above the wrist: a longer forearm in between is not the hand's neighbour
_AS_THICK = 1.3  # of the palm: an arm that is thicker where it begins is an upper arm

NEEDED = ("ball-of-foot", "heel-instep")
"""Places that must be taped."""
_LENGTH_OVER_HEEL = 0.754  # where the foot's length was not taped
# Shares of the length: from the start to the ball, and to below the bend.
_BALL_AT, _BEND_AT = 0.08, 0.25
# Shares of the girth round heel and instep: the fan's way, the bend's height.
_FAN_OVER_HEEL, _BEND_OVER_HEEL = 0.47, 0.21
_START_OVER_BALL, _BELOW_BEND_OVER_BALL, _BELOW_BEND_OVER_MID = 0.94, 1.06, 0.98
_MID_FAN_OVER_HEEL, _LEVEL_OVER_HEEL = 1.03, 0.97


def taped_way(taped: Mapping[str, float], limb: Limb) -> Way | None:
    """Return the way over a taped foot up to its leg's lowest section; None without the girths it needs.

    Parameters
    ----------
    taped
        Readings in mm by the place's name.
    limb
        The leg above.
    """
    if limb.kind != LimbKind.LEG or any(name not in taped for name in NEEDED):
        return None
    ball, heel = (taped[name] for name in NEEDED)
    length = taped.get("foot-length", _LENGTH_OVER_HEEL * heel)
    bend = min(_BEND_OVER_HEEL * heel, limb.from_mm)
    below = _BELOW_BEND_OVER_MID * taped["mid-foot"] if "mid-foot" in taped else _BELOW_BEND_OVER_BALL * ball
    fan = _FAN_OVER_HEEL * heel
    start = bend - fan - _BEND_AT * length
    leg = float(girth(limb, np.array([limb.from_mm])).mean[0])
    places = [start, start + _BALL_AT * length, bend - fan, bend - fan / 2, bend, limb.from_mm]
    girths = [_START_OVER_BALL * ball, ball, below, _MID_FAN_OVER_HEEL * heel, _LEVEL_OVER_HEEL * heel, leg]
    # a leg measured down to the bend begins there
    kept = len(places) - (limb.from_mm - bend < 1.0)
    return Way(np.array(places[:kept]), np.array(girths[:kept]), bend, False)


def taped_hand_way(taped: Mapping[str, float], limb: Limb) -> Way | None:
    """Return the way over a taped hand up to its arm's lowest section; None without the palm's girth.

    None as well for an arm that does not lie with its heights counted from the wrist.

    Parameters
    ----------
    taped
        Readings in mm by the place's name.
    limb
        The arm.
    """
    if (
        limb.kind != LimbKind.ARM
        or not limb.lying
        or PALM not in taped
        or not 0.0 <= limb.from_mm <= _FURTHEST_MM
    ):
        return None
    palm = taped[PALM]
    arm = float(girth(limb, np.array([limb.from_mm])).mean[0])
    if arm > _AS_THICK * palm:
        return None
    wrist = taped.get("wrist", arm)
    length = taped.get("hand-length")
    begins = -_PALM_OVER_GIRTH * palm if length is None else -_PALM_OVER_LENGTH * length
    share, of_palm, of_wrist = np.array(_ON_HAND).T
    at, girths = begins * (1.0 - share), of_palm * palm + of_wrist * wrist
    if limb.from_mm > 0.0:
        at, girths = np.append(at, limb.from_mm), np.append(girths, arm)
    return Way(at, girths, 0.0, False, "hand")
