import dataclasses

import numpy as np
import pytest
from solid_limbs import cone_radius, cone_with, limb, mound, volume_of

from digitise.care.padding.maps import Difference, Limits
from digitise.care.padding.noise import spread_columns
from digitise.care.padding.peaks import tops
from digitise.care.padding.regions import ADVICE, HIDDEN, PEAK_MEANS, find_regions
from digitise.care.surface.chart import SHARPEST, columns, connected, limb_chart
from digitise.care.surface.landmarks import find_landmarks, knee_crease
from digitise.care.surface.place_words import direction_words, segment_name, segments
from digitise.care.surface.taper import outer_lift
from digitise.geometry.rigid import Pose

PLACED_MM = 10.0
VOLUME = 0.10
EVERY_15 = tuple(range(0, 180, 15))


def dome(theta, z, peak, theta_0, z_0, wide, tall):
    """A mound with an edge: cos^2 within an ellipse of half-axes ``wide`` (radians) and ``tall`` (mm)."""
    turn = np.angle(np.exp(1j * (theta - theta_0)))
    r = np.hypot(turn / wide, (z - z_0) / tall)
    return peak * np.where(r < 1, np.cos(np.pi * r / 2) ** 2, 0.0)


def with_dome(*args):
    return limb(lambda theta, z: cone_radius(z) + dome(theta, z, *args))


def off_mm(region, theta, z):
    turn = np.angle(np.exp(1j * (region.theta - theta)))
    return np.hypot(cone_radius(z) * turn, region.height_mm - z)


@pytest.fixture(scope="module")
def plain():
    return limb(cone_with())


def test_plain_cone_has_none(plain):
    assert find_regions(plain) == ()


@pytest.mark.parametrize("slope", [0.0, 0.02, 0.08, 0.15])
def test_cones_of_any_taper_have_none(slope):
    assert find_regions(limb(lambda theta, z: 40 + slope * (z - 100) + 0 * theta)) == ()


def test_oval_leaning_cone_has_none():
    def shape(theta, z):
        return cone_radius(z) + 2.5 * np.cos(2 * theta) + (5 + 0.04 * z) * np.cos(theta) - 8 * np.sin(theta)

    assert find_regions(limb(shape)) == ()


@pytest.mark.parametrize("peak", [8.0, 12.0])
@pytest.mark.parametrize(("theta", "z"), [(1.0, 300.0), (np.pi, 260.0), (0.0, 330.0), (-2.2, 280.0)])
def test_bump_is_found_placed_and_measured(plain, peak, theta, z):
    bumped = with_dome(peak, theta, z, 1.3, 75.0)
    (bulge,) = (region for region in find_regions(bumped) if region.kind == "bulge")
    assert off_mm(bulge, theta, z) < PLACED_MM
    assert bulge.volume_ml == pytest.approx(volume_of(plain, bumped), rel=VOLUME)
    assert bulge.peak_mm == pytest.approx(peak, rel=VOLUME)
    assert bulge.volume_sd_ml > 0
    assert bulge.from_mm < z < bulge.to_mm


def test_two_bumps_are_two_regions():
    shape = limb(
        lambda theta, z: (
            cone_radius(z) + dome(theta, z, 10, 1.0, 220, 1.0, 60) + dome(theta, z, 9, -2.0, 380, 1.0, 60)
        )
    )
    bulges = [region for region in find_regions(shape) if region.kind == "bulge"]
    assert [round(region.height_mm, -1) for region in bulges] == [220, 380]


@pytest.mark.parametrize(("apart", "count"), [(0.9, 1), (2.6, 2)])
def test_shoulder_of_a_hollow_is_no_place_of_its_own(apart, count):
    dented = limb(
        lambda theta, z: (
            cone_radius(z)
            + dome(theta, z, -11, 1.0, 300, 0.9, 50)
            + dome(theta, z, -9, 1.0 + apart, 300, 0.9, 50)
        )
    )
    hollows = [region for region in find_regions(dented) if region.kind == "hollow"]
    assert len(hollows) == count


def test_tops_and_shoulders():
    value = np.array([[0.0, 9, 5, 7, 0, 8, 0]])
    # 5 is more than two thirds of 7; between 8 and the others lies nothing
    found = [np.flatnonzero(one).tolist() for one in tops(value, value > 6)]
    assert found == [[1, 3], [5]]


@pytest.mark.parametrize(("theta", "z"), [(1.0, 300.0), (np.pi, 250.0)])
def test_dent_along_the_limb_is_found_placed_and_measured(plain, theta, z):
    dented = with_dome(-12.0, theta, z, 1.2, 55.0)
    (hollow,) = (region for region in find_regions(dented) if region.kind == "hollow")
    assert off_mm(hollow, theta, z) < PLACED_MM
    assert hollow.volume_ml == pytest.approx(-volume_of(plain, dented), rel=VOLUME)
    assert hollow.peak_mm == pytest.approx(12.0, rel=VOLUME)
    assert "taut" in hollow.why


def test_short_dent_is_listed_once():
    creased = with_dome(-8.0, -np.pi / 2, 300.0, 1.2, 45.0)
    (dip,) = (region for region in find_regions(creased) if region.kind in ("hollow", "crease"))
    assert off_mm(dip, -np.pi / 2, 300.0) < PLACED_MM
    assert "back" in dip.place


def test_step_is_found_and_placed():
    def shape(theta, z):
        return 45 + 20 / (1 + np.exp(-(z - 300) / 8)) + 0 * theta

    (step,) = (region for region in find_regions(limb(shape)) if region.kind == "step")
    assert abs(step.height_mm - 300) < PLACED_MM
    # girth 2 pi 20 (sigma(15 / 8) - sigma(-15 / 8)) = 92 mm within 30 mm, blunted by knots 25 mm apart
    assert step.peak_mm == pytest.approx(92, rel=0.15)
    assert "all round" in step.place


def test_taper_that_is_inverted_is_listed():
    (fall,) = find_regions(limb(lambda theta, z: 65 - 0.05 * (z - 100) + 0 * theta))
    assert fall.kind == "inverted taper"
    # 2 pi 0.05 400
    assert fall.peak_mm == pytest.approx(125.7, rel=0.01)


def test_heel_is_no_inverted_taper():
    def shape(theta, z):
        return 45 + 0.05 * (z - 100) + 14 * np.exp(-(((z - 80) / 25) ** 2)) + 0 * theta

    assert not [r for r in find_regions(limb(shape)) if r.kind == "inverted taper"]
    arm = dataclasses.replace(limb(shape), kind="arm")
    assert [r for r in find_regions(arm) if r.kind == "inverted taper"]


def ridges(height, wide, degrees, directions):
    def shape(theta, z):
        return 55 + mound(theta, z, height, np.radians(degrees), 300.0, wide=wide, tall=200.0)

    return [r for r in find_regions(limb(shape, directions=directions)) if r.kind == "ridge"]


def test_ridge_is_listed_when_enough_views_saw_it():
    (ridge,) = ridges(9.0, 0.4, 90, EVERY_15)
    assert abs(np.degrees(ridge.theta) - 90) < 5
    # h + h'' of the mound's top, 55 + 9 - 9 / 0.4^2 = 7.8 mm, of which six harmonics keep 12; mean radius 56
    assert ridge.ratio == pytest.approx(56.3 / ridge.peak_mm, rel=0.05)
    assert ridge.ratio > Limits().ridge_ratio
    assert 0 < ridge.peak_sd_mm < 6
    assert "front" in ridge.place


@pytest.mark.parametrize(
    ("directions", "height", "wide", "listed"),
    [
        # local radius known to 16 mm, 14 mm, 11 mm, 6 mm, one sd
        ((0, 90), 15.0, 0.3, False),
        ((0, 60, 120), 15.0, 0.3, False),
        ((0, 45, 90, 135), 9.0, 0.4, False),
        ((0, 45, 90, 135), 15.0, 0.3, True),
        ((0, 30, 60, 90, 120, 150), 9.0, 0.4, True),
        ((0, 30, 60, 90, 120, 150), 6.0, 0.5, False),
    ],
)
def test_ridge_is_claimed_only_where_views_tell_how_sharp_it_is(directions, height, wide, listed):
    assert bool(ridges(height, wide, 90, directions)) == listed


def test_edge_presses_at_least_so_much():
    (ridge,) = ridges(15.0, 0.3, 45, EVERY_15)
    assert ridge.ratio == SHARPEST
    assert "at least 5.0 times" in ridge.why
    assert ridge.peak_mm == 0.0
    assert ridge.peak_sd_mm > 0.5


def test_what_photographs_do_not_tell_is_said():
    assert "cannot be judged from two photographs" in HIDDEN


def difference(first, second, sd=0.4):
    a, b = limb_chart(first), limb_chart(second)
    return Difference("the other leg", a.theta, a.z, b.h - a.h, np.full(a.h.shape, sd))


def test_difference_is_found_placed_and_measured(plain):
    swollen = limb(cone_with((9.0, -1.2, 300.0, 0.8, 40.0)))
    first = find_regions(swollen, (difference(plain, swollen),))[0]
    assert (first.kind, first.confidence) == ("bulge", "clear")
    assert off_mm(first, -1.2, 300.0) < PLACED_MM
    assert first.volume_ml == pytest.approx(volume_of(plain, swollen), rel=VOLUME)
    assert "the other leg" in first.why


def test_difference_within_its_uncertainty_is_not_listed(plain):
    swollen = limb(cone_with((4.0, -1.2, 300.0, 0.8, 40.0)))
    assert find_regions(swollen, (difference(plain, swollen, sd=2.0),)) == ()
    assert find_regions(swollen, (difference(plain, swollen, sd=0.3),))


def test_difference_on_another_grid_reaches_no_further_than_it(plain):
    theta, z = columns(36), np.arange(150.0, 260.0, 10.0)
    dh = np.full((len(z), len(theta)), 6.0)
    (bulge,) = find_regions(plain, (Difference("an earlier visit", theta, z, dh, 0 * dh + 0.3),))
    assert bulge.from_mm >= 150
    assert bulge.to_mm <= 250
    assert "all round" in bulge.place


def test_connected_areas_close_round():
    mask = np.zeros((6, 12), bool)
    mask[1, [11, 0]] = mask[3, [0, 1]] = True
    mask[4, 11] = True
    assert [int(one.sum()) for one in connected(mask)] == [2, 3]


def test_columns_between_close_round():
    assert spread_columns(np.array([[0.0, 4.0]]), 4).tolist() == [[0.0, 2.0, 4.0, 2.0]]


def test_taut_sheet_over_a_notch():
    h = np.array([10.0, 10, 4, 10, 10])[:, None]
    assert outer_lift(h, 10.0, 40.0)[:, 0].tolist() == [0, 0, 6, 0, 0]
    assert outer_lift(-h, 10.0, 40.0)[:, 0].tolist() == [0, 3, 0, 3, 0]


@pytest.mark.parametrize(
    ("side", "degrees", "words"),
    [
        ("left", 90, "front"),
        ("left", 270, "back"),
        ("left", 0, "inner"),
        ("left", 180, "outer"),
        ("right", 0, "outer"),
        ("right", 135, "front inner"),
        ("left", 225, "back outer"),
        ("left", 80, "front"),
        ("left", 60, "front inner"),
    ],
)
def test_direction_words(plain, side, degrees, words):
    assert direction_words(dataclasses.replace(plain, side=side), np.radians(degrees)) == words


def test_a_limb_that_lies_has_an_upper_side(plain):
    # axis along the world's x: its frame's x is the world's z
    lying = Pose(np.array([[0.0, 0, 1], [0, 1, 0], [-1, 0, 0]]), np.zeros(3))
    arm = dataclasses.replace(plain, kind="arm", axis_from_world=lying)
    words = [direction_words(arm, np.radians(d)) for d in (0, 180, 90)]
    assert words == ["upper side", "under side", "front"]


def leg_profile(theta, z):
    """Ankle at 150, calf at 330, narrow below the knee at 430, with a bend at the back at 450 mm."""
    profile = 36 + 20 * np.exp(-(((z - 330) / 85) ** 2)) + 0.5 * np.maximum(z - 420, 0) * (z > 420)
    return profile - mound(theta, z, 5.0, -np.pi / 2, 445.0, 0.7, 22.0) + 6 * np.exp(-(((z - 90) / 40) ** 2))


def test_segmentes_follow_the_shape():
    leg = limb(leg_profile, high=560.0)
    parts = segments(leg, find_landmarks(leg))
    assert [part.name for part in parts] == ["ankle", "lower calf", "calf", "knee", "thigh"]
    assert parts[0].low == leg.from_mm
    assert parts[-1].high == leg.to_mm
    assert segment_name(parts, 330.0) == "calf"
    assert abs(knee_crease(leg, find_landmarks(leg)) - 445.0) < 20


def test_cone_is_named_by_thirds(plain):
    assert (
        segment_name(segments(plain, find_landmarks(plain)), 120.0) == "lower third of the measured segment"
    )


def test_every_kind_has_words():
    assert set(ADVICE) == set(PEAK_MEANS)


def test_a_bulge_says_where_its_peak_is(plain):
    (bulge,) = (r for r in find_regions(with_dome(10.0, 1.0, 300.0, 1.3, 75.0)) if r.kind == "bulge")
    assert bulge.peak_place == "front inner, 300 mm"
    assert off_mm(bulge, bulge.peak_theta, bulge.peak_height_mm) < PLACED_MM


@pytest.mark.parametrize("length", [40.0, 70.0, 130.0])
def test_short_segmentes_of_a_cone_have_none(length):
    assert find_regions(limb(cone_with(), low=200.0, high=200.0 + length)) == ()
