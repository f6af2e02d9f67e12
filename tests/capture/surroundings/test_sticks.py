"""Sticks that rise from the floor: found with their slope, and a limb's own rims are none."""

import numpy as np
import pytest
from strips import FLOOR, PANEL, SKIN, limb_sides, made_strip, photograph

from digitise.capture.surroundings.sticks import find_sticks, look_in_front

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


def rounded(first: float, last: float, colour, rim: float):
    """Edits that paint a stick in 2 mm columns, at its sides ``rim`` as bright as in the middle."""
    edits = []
    for middle in np.arange(first, last + 1.0, 2.0):
        across = 2.0 * (middle - first + 1.0) / (last - first + 2.0) - 1.0
        shade = rim + (1.0 - rim) * np.sqrt(1.0 - across**2)
        edits.append((stick(middle - 1.0, middle + 1.0, 0.0, 860.0), tuple(shade * np.array(colour))))
    return edits


def test_a_stick_of_the_skins_own_colour_is_found_by_its_shade(rng):
    # its sides are a ninth darker than the skin: less than one row of grain shows surely
    (found,) = find_sticks(made_strip(rng, noise=6.0, edits=rounded(-14.0, 14.0, SKIN, 0.85)).strip)
    assert found.left_mm == pytest.approx(-14.0, abs=2 * OFF_MM)
    assert found.right_mm == pytest.approx(14.0, abs=2 * OFF_MM)
    assert found.top_mm > 860.0 - OFF_MM


def test_the_shaded_rim_of_a_dark_limb_in_grain_is_no_stick(rng):
    dark = (52.0, 37.0, 29.0)
    heights = made_strip(rng).strip.heights
    left, _ = limb_sides(heights)

    def rim(depth):  # a band of 2 mm so deep within the left edge
        def where(x, z):
            edge = np.interp(z, heights[::-1], left[::-1])
            return (x >= edge + depth) & (x < edge + depth + 2.0)

        return where

    shade = [
        (rim(d), tuple((0.8 + 0.2 * np.sqrt(d / 30.0)) * np.array(dark))) for d in np.arange(0.0, 30.0, 2.0)
    ]
    made = made_strip(rng, skin=dark, panel=(176, 176, 172), noise=4.0, edits=shade)
    assert find_sticks(made.strip) == ()


@pytest.mark.parametrize("dark", [(14, 11, 10), (18, 15, 13)])
def test_grain_beside_the_straight_rim_of_a_very_dark_shin_is_no_edge(dark, rng):
    blue = (60, 100, 180)
    edits = [(lambda x, z: (x < -40.0) & (z > 20.0), blue), (stick(-40.0, 0.0, 0.0, 850.0), dark)]
    made = made_strip(rng, skin=dark, panel=blue, noise=3.0, edits=edits)
    assert find_sticks(made.strip) == ()


def test_a_forearm_as_straight_as_a_stick_is_none(rng):
    """A dark forearm alone on its elbow, 46 mm wide up to its wrist, and no leg."""
    edits = [
        (lambda _, z: z >= 90.0, PANEL),
        (lambda _, z: z < 90.0, FLOOR),
        (stick(-22.0, 24.0, 0.02, 420.0), (44, 30, 24)),
    ]
    made = made_strip(rng, edits=edits)
    assert len(find_sticks(made.strip)) == 1
    assert len(look_in_front(photograph(made), made.strip, []).sticks) == 1
    assert look_in_front(photograph(made), made.strip, [], slender=True).sticks == ()
