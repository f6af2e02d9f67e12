"""Sticks that rise from the floor: found with their slope, and a limb's own rims are none."""

import numpy as np
import pytest
from strips import made_strip

from digitise.capture.surroundings.sticks import find_sticks

# Told along hundreds of rows of 2 mm cells: half a cell, and what a sharp step's blur makes of its middle.
OFF_MM = 2.0


def stick(first, last, slope, top):
    def where(x, z):
        return (x > first + slope * z) & (x < last + slope * z) & (z < top)

    return where


@pytest.mark.parametrize("colour", [(112, 74, 45), (60, 60, 62), (225, 226, 228)])
@pytest.mark.parametrize(
    ("first", "last", "slope", "top"),
    [(-12.0, 14.0, 0.0, 860.0), (30.0, 52.0, 0.05, 700.0), (-70.0, -30.0, -0.03, 450.0)],
)
def test_a_stick_is_found_whatever_is_behind(rng, colour, first, last, slope, top):
    (found,) = find_sticks(made_strip(rng, edits=[(stick(first, last, slope, top), colour)]).strip)
    heights = np.array([50.0, 250.0, 430.0])
    left, right = found.sides(heights)
    assert np.abs(left - (first + slope * heights)).max() < OFF_MM
    assert np.abs(right - (last + slope * heights)).max() < OFF_MM
    assert found.top_mm > top - OFF_MM  # it may be taken for longer where a limb's rim goes on


def test_a_limb_alone_has_no_sticks(rng):
    assert find_sticks(made_strip(rng).strip) == ()


def test_what_ends_below_the_knee_is_none(rng):
    assert find_sticks(made_strip(rng, edits=[(stick(-12, 14, 0.0, 150.0), (60, 60, 62))]).strip) == ()
