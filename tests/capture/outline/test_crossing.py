"""Whose edge is left where two bodies cross in the picture, and what lies on the limb."""

import dataclasses

import numpy as np
import pytest
from strips import SKIN, made_strip

from digitise.capture.outline.crossing import other_before
from digitise.capture.outline.region import Region
from digitise.capture.surroundings.backdrop import find_panel
from digitise.capture.surroundings.dressing import dressings

CORNER_MM = 400.0


def other_leg(z):
    """The other leg's near edge, which leans towards the limb and meets it at CORNER_MM."""
    return 62.0 - 0.35 * (z - CORNER_MM)


def crossing(rng, *, before):
    """Return a strip with another leg on the right and the region found in it, up to 800 mm."""

    def leg(x, z):
        return (x > other_leg(z)) & (x < other_leg(z) + 110.0) & (z > 90.0)

    plain = made_strip(rng)
    hides = leg if before else lambda x, z: leg(x, z) & ~plain.limb
    made = made_strip(rng, edits=[(hides, SKIN)])
    panel = find_panel(made.strip, [made.area])
    rows = np.flatnonzero(made.strip.heights < 800)
    heights = made.strip.heights[rows]
    limb = made.right[rows]
    touched = other_leg(heights) < limb + 2.0
    right = np.minimum(limb, other_leg(heights)) if before else limb
    nothing = np.zeros(len(rows), bool)
    still = np.zeros(len(rows))
    evidence = np.zeros(made.limb.shape, np.float32)
    region = Region(
        rows,
        made.left[rows],
        right,
        (evidence, evidence),
        (nothing, nothing),
        (nothing, touched),
        (nothing, nothing),
        (still, still),
        nothing,
        *[(nothing, nothing)] * 3,
    )
    return made.strip, panel, region, touched


def test_the_edge_of_a_leg_before_the_limb_is_not_the_limbs(rng):
    strip, panel, region, touched = crossing(rng, before=True)
    assert np.array_equal(other_before(strip, panel, region, 1), touched)
    assert not other_before(strip, panel, region, 0).any()


def test_the_limb_before_another_leg_keeps_its_edge(rng):
    strip, panel, region, touched = crossing(rng, before=False)
    assert touched.any()
    assert not other_before(strip, panel, region, 1).any()


def test_what_leaves_little_of_the_limb_is_before_it(rng):
    strip, panel, region, touched = crossing(rng, before=False)
    # no gap is seen below the corner: the region's boundary there is another's
    narrow = np.where(touched, region.left + 0.5 * (region.right - region.left), region.right)
    cut = dataclasses.replace(region, right=narrow)
    assert np.array_equal(other_before(strip, panel, cut, 1), touched)


def columns_of(made, rows):
    return [
        np.round((side[rows] - made.strip.offsets[0]) / 2.0).astype(int) for side in (made.left, made.right)
    ]


@pytest.mark.parametrize("colour", [(236, 234, 228), (90, 110, 160)])
def test_a_dressing_is_told_from_skin_and_backdrop(rng, colour):
    def patch(x, z):
        return (x > -30.0) & (x < 20.0) & (z > 300.0) & (z < 410.0)

    made = made_strip(rng, edits=[(patch, colour)])
    panel = find_panel(made.strip, [made.area])
    rows = np.flatnonzero((made.strip.heights < 800) & (made.strip.heights > 100))
    columns = [
        np.round((side[rows] - made.strip.offsets[0]) / 2.0).astype(int) for side in (made.left, made.right)
    ]
    found, _ = dressings(made.strip, panel, rows, *columns)
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    true = patch(x, z)
    # but for a rim of a cell, of 25 by 55
    assert np.count_nonzero(found & true) > 0.9 * np.count_nonzero(true)
    assert np.count_nonzero(found & ~true) < 0.15 * np.count_nonzero(true)


def test_a_dressing_beside_skin_that_hard_light_leaves_in_the_dark_is_told_alone(rng):
    def patch(x, z):
        return (x > -30.0) & (x < 20.0) & (z > 300.0) & (z < 410.0)

    def dark_flank(x, z):  # nearly without colour, as a photograph leaves the dark
        return (x > 8.0) & (x < 34.0) & (z > 140.0) & (z < 760.0)

    made = made_strip(rng, edits=[(dark_flank, (70, 66, 58)), (patch, (236, 234, 228))])
    panel = find_panel(made.strip, [made.area])
    rows = np.flatnonzero((made.strip.heights < 800) & (made.strip.heights > 100))
    found, _ = dressings(made.strip, panel, rows, *columns_of(made, rows))
    true = patch(*np.meshgrid(made.strip.offsets, made.strip.heights))
    assert np.count_nonzero(found & true) > 0.9 * np.count_nonzero(true)
    assert np.count_nonzero(found & ~true) < 0.15 * np.count_nonzero(true)


def test_skin_alone_and_a_stick_are_no_dressing(rng):
    for edits in ([], [(lambda x, z: (np.abs(x) < 12.0) & (z > 90.0), (118, 76, 44))]):
        made = made_strip(rng, edits=edits)
        panel = find_panel(made.strip, [made.area])
        rows = np.flatnonzero((made.strip.heights < 800) & (made.strip.heights > 100))
        columns = columns_of(made, rows)
        assert not dressings(made.strip, panel, rows, *columns)[0].any()
