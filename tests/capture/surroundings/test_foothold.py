"""What stands on the near part of a mat: skin hides its paper; dark print in grain is none."""

import cv2
import numpy as np
import pytest
from strips import CAMERA, SIZE, made_strip

from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.foothold import COLOURED, hue_off_paper, look_at_mat
from digitise.geometry.rigid import Pose

HALF_MM = np.array([200.0, 250.0])
PRINT, PAPER, SKIN = (36, 36, 36), (205, 203, 200), (120, 84, 64)
GRAIN = 16.0  # grey levels: as much as compressed print shows in a dim room


def ring(left: float, right: float, near: float, far: float) -> np.ndarray:
    """A rectangle on the ground as the camera sees it, sixteenths of a pixel."""
    corners = np.array([[left, near, 0], [right, near, 0], [right, far, 0], [left, far, 0]], float)
    return np.rint(16 * CAMERA.project(corners)).astype(np.int32)


def mat_with(rng, *bodies):
    """The mat seen from the front, three quarters of it dark print; bodies are (left, right), mm."""
    picture = np.full((SIZE[1], SIZE[0], 3), 150, np.uint8)
    cv2.fillPoly(picture, [ring(-200, 200, 250, -250)], PAPER, shift=4)
    for left in np.arange(-200.0, 200.0, 40.0):
        cv2.fillPoly(picture, [ring(left, left + 30.0, 250, -250)], PRINT, shift=4)
    for left, right in bodies:
        cv2.fillPoly(picture, [ring(left, right, 250, -250)], SKIN, shift=4)
    grainy = picture + rng.normal(0.0, GRAIN, picture.shape)
    pixels = np.clip(np.rint(grainy), 0, 255).astype(np.uint8)
    corners = np.array([[-40.0, 40.0], [40.0, 40.0], [40.0, -40.0], [-40.0, -40.0]])
    board = Board("mat", "mat", 2.0 * HALF_MM, (0,), corners[None])
    return look_at_mat(pixels, made_strip(rng).strip, [(board, Pose.identity())])


def test_dark_print_in_grain_is_no_body(rng):
    mat = mat_with(rng)
    assert mat.covered.mean() < 0.25  # point by point three fifths are
    assert not any(mat.is_covered(left, left + 60.0) for left in np.arange(-150.0, 100.0, 10.0))


@pytest.mark.parametrize("left", [-120.0, 0.0])
def test_skin_on_the_mat_is_a_body(rng, left):
    mat = mat_with(rng, (left, left + 90.0))
    nearer = 1.12  # the mat's near part lies up to a ninth nearer to the camera than the limb's axis
    first = -nearer * (left + 90.0)  # as seen from the front, +x lies to the left
    assert mat.is_covered(first + 15.0, first + 75.0)
    assert not mat.is_covered(first + 110.0, first + 170.0)


def test_a_foot_paler_than_the_shaded_paper_is_no_paper(rng):
    """In the shade of its own leg a mat is darker than the lightest skin: hue alone tells them apart."""
    picture = np.full((SIZE[1], SIZE[0], 3), 150, np.uint8)
    cv2.fillPoly(picture, [ring(-200, 200, 250, -250)], (176, 173, 166), shift=4)
    cv2.fillPoly(picture, [ring(-50, 50, 190, -100)], (214, 193, 178), shift=4)
    pixels = np.clip(picture + rng.normal(0.0, 2.0, picture.shape), 0, 255).astype(np.uint8)
    points = np.array([[x, y, 0.0] for x in range(-180, 181, 10) for y in range(-230, 231, 10)])
    off = hue_off_paper(pixels, CAMERA, points, 3.0)
    foot = (np.abs(points[:, 0]) < 40) & (points[:, 1] > -90) & (points[:, 1] < 180)
    rest = (np.abs(points[:, 0]) > 60) | (points[:, 1] < -110) | (points[:, 1] > 200)
    # log(214/193) - log(176/173) to the display's power of 2.2, both ways: 0.24 between the two hues
    assert np.median(off[foot]) > COLOURED
    assert np.quantile(off[rest], 0.95) < COLOURED / 2


def test_paper_whose_colours_a_phone_has_bent_is_paper(rng):
    """Where warm light is clipped a fourteenth of the paper comes out whiter than the rest; all is paper."""
    picture = np.full((SIZE[1], SIZE[0], 3), 150, np.uint8)
    cv2.fillPoly(picture, [ring(-200, 200, 250, -250)], (250, 240, 196), shift=4)
    cv2.fillPoly(picture, [ring(-200, -172, 250, -250)], (252, 248, 236), shift=4)
    cv2.fillPoly(picture, [ring(-50, 50, 190, -100)], (84, 52, 38), shift=4)
    pixels = np.clip(picture + rng.normal(0.0, 2.0, picture.shape), 0, 255).astype(np.uint8)
    points = np.array([[x, y, 0.0] for x in range(-195, 196, 10) for y in range(-230, 231, 10)])
    off = hue_off_paper(pixels, CAMERA, points, 3.0)
    near = (points[:, 1] > 200) & (points[:, 0] > -120)
    assert np.quantile(off[near], 0.95) < COLOURED / 2
