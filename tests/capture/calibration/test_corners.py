"""Corners against rendered markers whose corners are exact."""

import numpy as np
import pytest

from digitise.capture.calibration.corners import CORNER_FLOOR_PX, UNREFINED_SD_PX, refine_corners

SQUARE = np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]) - 0.5


def quad(side, angle, tilt=(0.0, 0.0), centre=(150.3, 149.6)):
    """A marker turned by ``angle`` and squeezed and sheared by ``tilt``."""
    c, s = np.cos(angle), np.sin(angle)
    shape = np.array([[1.0 - tilt[0], tilt[1]], [0.0, 1.0]])
    return (SQUARE * side) @ shape.T @ np.array([[c, -s], [s, c]]).T + centre


def detector_like(corners):
    """Corners as a contour gives them: three quarters of a pixel inside, on whole pixels."""
    inwards = corners.mean(axis=0) - corners
    return np.round(corners + inwards / np.linalg.norm(inwards, axis=1, keepdims=True))


@pytest.mark.parametrize("angle", [0.0, 0.1, 0.4, 0.785])
@pytest.mark.parametrize("blur", [0.6, 1.0, 1.8])
def test_corners_of_a_rendered_marker_are_unbiased(tools, angle, blur):
    true = quad(140, angle, (0.2, 0.1))
    picture = tools["paint"](7, true, (300, 300), blur=blur)
    found, sd, measured = refine_corners(picture, detector_like(true)[None])
    # bar: bias at most 0.05 px, here even for each corner; a tone curve left in place gives 0.4 px and more
    assert np.max(np.abs(found[0] - true)) < 0.05
    assert np.all(sd >= CORNER_FLOOR_PX)
    # a pixel's box and bilinear sampling add sqrt(2/12) px at most
    assert blur - 0.1 < measured[0] < np.hypot(blur, 0.41) + 0.15


@pytest.mark.parametrize(("side", "limit"), [(30, 0.15), (45, 0.1), (70, 0.05)])
def test_small_markers(tools, side, limit):
    """Borders of four to nine pixels, where blurred data modules come near the side."""
    true = quad(side, 0.25)
    picture = tools["paint"](3, true, (300, 300), blur=0.7)
    found, _, _ = refine_corners(picture, detector_like(true)[None])
    assert np.max(np.abs(found[0] - true)) < limit


@pytest.mark.parametrize("squeeze", [0.6, 0.75, 0.8])
def test_grazing_markers(tools, squeeze):
    true = quad(150, 0.1, (squeeze, 0.1))
    picture = tools["paint"](11, true, (300, 300), blur=0.7)
    found, sd, _ = refine_corners(picture, detector_like(true)[None])
    error = np.abs(found[0] - true)
    assert np.max(error / np.maximum(sd[0], 0.1)[:, None]) < 3.0


def test_stated_sd_covers_noise(tools, rng):
    true = quad(120, 0.3)
    errors, stated = [], []
    for _ in range(12):
        picture = tools["paint"](5, true, (300, 300), blur=1.0, noise=0.03, rng=rng)
        found, sd, _ = refine_corners(picture, detector_like(true)[None])
        errors.append(found[0] - true)
        stated.append(sd[0])
    # 96 numbers: their rms is known to 1 / sqrt(192) = 7 %; the floor makes the statement cautious
    assert np.sqrt(np.mean(np.square(errors))) < 1.2 * np.sqrt(np.mean(np.square(stated)))


def test_side_without_white_beside_it_is_not_believed(tools):
    true = quad(120, 0.0)
    picture = tools["paint"](5, true, (300, 300))
    picture[:, : int(true[0, 0]) + 3] = picture[150, 95]
    given = detector_like(true)[None]
    found, sd, blur = refine_corners(picture, given)
    assert np.all(sd >= UNREFINED_SD_PX)
    assert np.isnan(blur[0])
    assert np.max(np.abs(found - given)) < 1.5


def test_finger_over_part_of_a_side_is_passed_over(tools):
    true = quad(120, 0.0)
    picture = tools["paint"](5, true, (300, 300))
    picture[150:185, 70:100] = 110
    found, sd, _ = refine_corners(picture, detector_like(true)[None])
    assert np.all(sd < 0.3)
    assert np.max(np.abs(found[0] - true)) < 0.15


def test_uniform_picture_and_picture_edge_do_not_fail():
    flat = np.full((60, 60), 128, np.uint8)
    corners = np.stack([quad(20, 0.0, centre=(30, 30)), quad(20, 0.0, centre=(5, 5))])
    _, sd, _ = refine_corners(flat, corners)
    assert np.all(sd == UNREFINED_SD_PX)


def test_every_start_orientation_keeps_its_corner_order(tools):
    true = quad(100, 0.2)
    picture = tools["paint"](9, true, (300, 300))
    for k in range(4):
        found, _, _ = refine_corners(picture, np.roll(detector_like(true), k, axis=0)[None])
        assert np.max(np.abs(found[0] - np.roll(true, k, axis=0))) < 0.05
