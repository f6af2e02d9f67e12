"""Where directions point on a limb that lies: they follow the posture."""

from dataclasses import replace

import numpy as np
import pytest
from lying_limbs import lying_axis
from solid_limbs import cone_with, limb

from digitise.care.surface.place_words import direction_words

RIGHT, UP, LEFT, DOWN = 0.0, 90.0, 180.0, 270.0


def words(side, kind, lying, degrees):
    stands = limb(cone_with(), side=side, kind=kind)
    lies = replace(stands, axis_from_world=lying_axis(), lying=lying)
    return direction_words(lies, np.radians(degrees))


@pytest.mark.parametrize(
    ("lying", "side", "degrees", "where"),
    [
        # held out before the eyes with the palm down, a left hand's thumb points to the right
        ("palm-down", "left", RIGHT, "thumb side"),
        ("palm-down", "left", LEFT, "little-finger side"),
        ("palm-down", "right", LEFT, "thumb side"),
        ("palm-up", "left", LEFT, "thumb side"),
        ("palm-up", "right", RIGHT, "thumb side"),
        # the palm's side is the front
        ("palm-down", "left", UP, "back"),
        ("palm-down", "left", DOWN, "front"),
        ("palm-up", "right", UP, "front"),
        ("palm-up", "right", DOWN, "back"),
        ("palm-down", "left", 45.0, "back, thumb side"),
    ],
)
def test_an_arm(lying, side, degrees, where):
    assert words(side, "arm", lying, degrees) == where


@pytest.mark.parametrize(
    ("side", "degrees", "where"),
    [("left", UP, "front"), ("left", DOWN, "back"), ("left", RIGHT, "inner"), ("right", RIGHT, "outer")],
)
def test_a_leg_on_the_back_is_named_as_one_that_stands(side, degrees, where):
    assert words(side, "leg", "on-back", degrees) == where
    standing = limb(cone_with(), side=side)
    assert direction_words(standing, np.radians(degrees)) == where
