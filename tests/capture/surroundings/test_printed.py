"""The upright sides of pages and markers behind the limb, and which points of an edge lie on them."""

import numpy as np
import pytest
from strips import CAMERA, made_strip

from digitise.capture.photo.rectified import facing_plane
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.printed import on_side, upright_sides
from digitise.geometry.rigid import Pose

SQUARE = 30.0 * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
MIDDLES = [(x, z) for x in (-45.0, 45.0) for z in (-75.0, 0.0, 75.0)]
PAGE = Board(
    "page", "backdrop", np.array([180.0, 240.0]), tuple(range(6)), np.array([SQUARE + m for m in MIDDLES])
)
PANEL = Board(
    "panel", "backdrop", np.array([900.0, 900.0]), (6, 7), np.array([SQUARE - 300.0, SQUARE + 300.0])
)


def placed(x: float, z: float) -> Pose:
    """Return the pose of a sheet in the plane of the strip."""
    return facing_plane(CAMERA, Pose.identity()) @ Pose(np.eye(3), np.array([x, z, 0.0]))


def test_sides_run_where_page_and_markers_stand(rng):
    strip = made_strip(rng).strip
    sides = upright_sides(strip, [(PAGE, placed(60.0, 400.0)), (PANEL, placed(0.0, 450.0))])
    long = np.count_nonzero(~np.isnan(sides), axis=1) * 2.0 > 200.0
    # upper and lower sides are level; the panel's own rim is none, for its plain middle reaches there
    assert sides.shape == (2 + 2 * 8, len(strip.heights))
    assert np.count_nonzero(long) == 2
    beside = np.abs(strip.heights - 400.0) < 119.0
    np.testing.assert_allclose(np.sort(sides[long][:, beside].mean(axis=1)), [-30.0, 150.0], atol=1e-6)
    assert np.isnan(sides[long][:, np.abs(strip.heights - 400.0) > 121.0]).all()
    at = np.abs(strip.heights - 475.0) < 29.0
    upper = sides[:, at][~long]
    of_page = upper[~np.isnan(upper).any(axis=1)].mean(axis=1)
    np.testing.assert_allclose(np.sort(of_page), [-15.0, 45.0, 75.0, 135.0], atol=1e-6)


@pytest.mark.parametrize(
    ("off_mm", "on"), [(-6.0, False), (-1.5, True), (0.0, True), (1.5, True), (6.0, False)]
)
def test_points_within_two_millimetres_lie_on_a_side(rng, off_mm, on):
    strip = made_strip(rng).strip
    sides = upright_sides(strip, [(PAGE, placed(60.0, 400.0))])
    heights = np.arange(300.0, 500.0, 2.0)
    points = strip.photo_from_plane(np.full(len(heights), 150.0 + off_mm), heights)
    assert (on_side(strip, sides, points) == on).all()


def test_without_pages_no_point_lies_on_a_side(rng):
    strip = made_strip(rng).strip
    points = strip.photo_from_plane(np.zeros(5), np.linspace(300.0, 400.0, 5))
    assert not on_side(strip, upright_sides(strip, []), points).any()
