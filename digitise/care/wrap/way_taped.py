"""The way of a bandage over a foot that was taped and not photographed.

From the girths of the ball and round heel and instep alone: places and girths of the way are shares of these
and of the foot's length, settled on 200 feet of a parametric body, swollen at random.  On 200 others the
length of a layer from the toes up to the leg erred by 3 % rms with a taped length and by 4 % without.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from digitise.care.surface.foot_way import Way
from digitise.shape.limb import Limb, girth

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
    if limb.kind != "leg" or any(name not in taped for name in NEEDED):
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
