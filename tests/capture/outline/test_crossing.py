"""Whose edge is left where two bodies cross in the picture, and what lies on the limb."""

import dataclasses

import numpy as np
import pytest
from strips import SKIN, made_strip

from digitise.capture.outline.crossing import creased, other_before
from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.backdrop import find_panel
from digitise.capture.surroundings.dressing import dressings
from digitise.geometry.rigid import Pose

CORNER_MM = 400.0
THIGHS_MM = 680.0  # where two thighs meet; below, the limb's edge is straight


def other_leg(z):
    """The other leg's near edge, which leans towards the limb and meets it at CORNER_MM."""
    return 62.0 - 0.35 * (z - CORNER_MM)


def region_of(made, rows, right, touched):
    """Return the region of a made strip with this right boundary, which something touches on some rows."""
    nothing, still = np.zeros(len(rows), bool), np.zeros(len(rows))
    evidence = np.zeros(made.limb.shape, np.float32)
    return Region(
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
    return made.strip, panel, region_of(made, rows, right, touched), touched


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


def pressed(rng, opening):
    """Return a strip with another thigh on the right, its panel, the region and the limb's own edge, mm.

    A gap of ``opening`` mm per mm closes at ``THIGHS_MM``. Above, the crease between both runs midway between
    the limb's own edge and the other's, each carried on.
    """
    plain = made_strip(rng)
    z = plain.strip.heights
    crease = plain.right - np.where(z > THIGHS_MM, 0.5, 1.0) * opening * (z - THIGHS_MM)

    def thigh(x, z):
        return (x > crease[:, None]) & (z > 300.0)

    made = made_strip(rng, edits=[(thigh, SKIN)])
    rows = np.flatnonzero(z < 800)
    touched = z[rows] > THIGHS_MM
    right = np.where(touched, crease[rows], made.right[rows])
    region = region_of(made, rows, right, touched)
    return made.strip, find_panel(made.strip, [made.area]), region, made.right[rows]


def test_a_crease_between_thighs_tells_how_far_off_the_limb_may_be(rng):
    strip, panel, region, own = pressed(rng, 0.5)
    sd, off = creased(strip, panel, region, 1), own - region.right
    # up to 1 mm off it is as good as the limb's own edge
    assert np.all(sd[off > 3.0] > 0.0)
    assert not np.any(sd[off == 0.0])
    # the limb's edge is anywhere between both lines: half their distance is 1.7 sd of an even spread, and the
    # distance is read from a gap of whole cells, to a tenth
    spread = off / 3.0**0.5
    assert np.all((sd[sd > 0.0] > spread[sd > 0.0] / 1.1) & (sd[sd > 0.0] < 1.1 * spread[sd > 0.0]))
    assert not creased(strip, panel, region, 0).any()


def seen_from(strip, azimuth):
    """The strip as of a camera at this azimuth, degrees: 90 is before the toes, 180 the person's left."""
    c, s = np.cos(np.radians(azimuth)), np.sin(np.radians(azimuth))
    turn = np.array([[-s, 0.0, c], [c, 0.0, s], [0.0, 1.0, 0.0]])
    return dataclasses.replace(strip, world_from_plane=Pose(turn, np.zeros(3)))


@pytest.mark.parametrize(("azimuth", "hides"), [(135.0, True), (110.0, False), (90.0, False), (45.0, False)])
def test_a_thigh_hides_the_limb_from_its_own_side_alone(rng, azimuth, hides):
    """What shows on the right of the picture is on the person's left: nearer, seen from their front left."""
    strip, panel, region, _ = pressed(rng, 0.2)
    found = other_before(seen_from(strip, azimuth), panel, region, 1)
    z = strip.heights[region.rows]
    # a gap is seen from 4 mm on, and the picture's blur fills two cells on either side of it
    lost = (2 * 2 * STEP_MM + 4.0) / 0.2
    assert found.any() == hides
    assert np.all(found[z > THIGHS_MM] == hides)
    assert not np.any(found[z < THIGHS_MM - lost])


def test_an_edge_that_keeps_to_its_own_line_is_none_of_a_crease(rng):
    strip, panel, region, own = pressed(rng, 0.5)
    assert not creased(strip, panel, dataclasses.replace(region, right=own), 1).any()


def test_a_gap_that_closes_slowly_is_one_between_legs_behind_each_other(rng):
    assert not creased(*pressed(rng, 0.2)[:3], 1).any()


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
