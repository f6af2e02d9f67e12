"""A leg with its foot and a lying arm with its hand, as they are measured, without any photograph."""

import dataclasses
from functools import cache

import numpy as np
from output_support import measure
from standing_feet import foot_below

from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured, MeasuredEnd
from digitise.shape.end import EndPart
from digitise.shape.hand.join import join_hand
from digitise.shape.hand.prior import usual_hand
from digitise.shape.limb import Limb
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PlacedShape
from digitise.tape.rows import PlaceGirth

# the arm's axis along the world's y, so that the world's z is across it
LYING = Pose(np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]), np.zeros(3))
# in sds, small: nobody else's foot or hand differs from the usual one so
_OWN = 0.3 * np.sin(np.arange(1.0, 13.0))


@cache
def with_foot() -> Measured:
    """A leg 60 mm long above a foot, with girths taped on it."""
    leg = measure(from_mm=110.0, to_mm=200.0)
    places = (PlaceGirth("ball-of-foot", 241.0, 7, 60.5), PlaceGirth("heel-instep", 331.5, 6))
    length = PlaceGirth("foot-length", 258.0, 8)
    return _with(leg, leg.fit.limb, foot_below(leg.fit.limb, _OWN), (*places, length))


@cache
def with_hand() -> Measured:
    """A lying arm 90 mm long beyond a hand, with girths taped on it."""
    arm = measure(LYING, from_mm=110.0, to_mm=200.0)
    limb = dataclasses.replace(arm.fit.limb, kind="arm", lying="palm-down")
    usual = PlacedShape.usual(usual_hand("left"))
    own = usual.moved(np.concatenate([_OWN, np.zeros(len(usual.parameters) - len(_OWN))]))
    belief = ShapeBelief(own, 0.01 * np.eye(len(usual.parameters)), np.zeros(0))
    places = (PlaceGirth("palm", 205.0, 7), PlaceGirth("wrist", 168.0, 8), PlaceGirth("hand-length", 182.0))
    whole = _with(arm, limb, join_hand(belief, limb, limb.from_mm - 5.0), places)
    return dataclasses.replace(whole, landmark=(0, 880.0, 790.0))


def _with(measured: Measured, limb: Limb, end: EndPart, places) -> Measured:
    fit = dataclasses.replace(measured.fit, limb=limb)
    seen = MeasuredEnd(end, measured.photos[:1], measured.calibration.cameras[:1], ())
    return dataclasses.replace(measured, fit=fit, end=seen, places=places)
