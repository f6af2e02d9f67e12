"""Print seen on a mat: whatever the light, ink is darker than the paper beside it; a body on it is not."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strips import CAMERA, SIZE, made_strip

from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.foothold import look_at_mat
from digitise.capture.surroundings.ink import print_told
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose

INK, PAPER, SKIN = np.array([34, 34, 34]), np.array([214, 212, 208]), np.array([200, 170, 152])
SIDE_MM, PITCH_MM = 60.0, 90.0
CENTRES = [(x, y) for x in (-180.0, -90.0, 0.0, 90.0, 180.0) for y in (-180.0, -90.0, 0.0, 90.0, 180.0)]
SQUARE = SIDE_MM / 2 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
MAT = Board("mat", "mat", np.array([480.0, 480.0]), tuple(range(25)), np.array([SQUARE + c for c in CENTRES]))
STEPS = np.arange(-215.0, 216.0, 10.0)
POINTS = np.array([[x, y, 0.0] for x in STEPS for y in STEPS])
# The sides of a marker across the view are foreshortened to less than 3 px.  Within 20 mm of the other two,
# of which 48 mm are looked at, lie 6,354 mm2, less 600 that the next marker's reach as well, of every 8,100.
MOST = 0.65  # of 0.71, less what the blur of a body's edge takes


def ground(picture, camera, corners, colour):
    """Paint a shape (n, 2) of the ground."""
    flat = np.column_stack([corners, np.zeros(len(corners))])
    cv2.fillPoly(picture, [np.rint(16 * camera.project(flat)).astype(np.int32)], colour.tolist(), shift=4)


def mat_seen(rng, body=None, light=None, camera=CAMERA):
    """The mat, a body (left, right, far, near) on it, in a light (2, 3) of its left and its right half."""
    picture = np.full((camera.size[1], camera.size[0], 3), 120, np.uint8)
    ground(picture, camera, 240.0 * SQUARE / 30.0, PAPER)
    for centre in CENTRES:
        ground(picture, camera, SQUARE + centre, INK)
        ground(picture, camera, 0.66 * SQUARE + centre, PAPER)  # within the border
    if body is not None:
        left, right, far, near = body
        ground(picture, camera, np.array([[left, far], [right, far], [right, near], [left, near]]), SKIN)
    lit = np.ones((2, 3)) if light is None else np.array(light)
    half = np.where(np.arange(picture.shape[1])[None, :, None] < picture.shape[1] // 2, lit[0], lit[1])
    blurred = cv2.GaussianBlur(picture, (0, 0), 0.9) * half + rng.normal(0.0, 2.0, picture.shape)
    return np.clip(np.rint(blurred), 0, 255).astype(np.uint8)


def test_print_beside_a_body_is_seen_and_beneath_it_is_not(rng):
    pixels = mat_seen(rng, (-50.0, 50.0, -100.0, 150.0))
    seen, hidden = print_told(pixels, CAMERA, [(MAT, Pose.identity())], POINTS)
    beneath = (np.abs(POINTS[:, 0]) < 35) & (POINTS[:, 1] > -85) & (POINTS[:, 1] < 135)
    clear = (np.abs(POINTS[:, 0]) > 75) | (POINTS[:, 1] < -125) | (POINTS[:, 1] > 175)
    assert not seen[beneath].any()
    assert not hidden[clear].any()
    assert not (seen & hidden).any()
    assert seen[clear].mean() > MOST
    assert hidden[beneath].mean() > MOST - 0.1  # of a few markers cut by its edges


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.floats(0.35, 1.0), min_size=3, max_size=3),
    st.lists(st.floats(0.35, 1.0), min_size=3, max_size=3),
)
def test_print_is_seen_in_light_of_any_colour(left, right):
    pixels = mat_seen(np.random.default_rng(7), light=[left, right])
    seen, hidden = print_told(pixels, CAMERA, [(MAT, Pose.identity())], POINTS)
    border = np.abs(POINTS[:, 0]) > 40  # within the reach of places on the light's own border
    assert not hidden[border].any()
    assert seen[border].mean() > MOST


def test_warm_shade_before_the_limb_is_no_body(rng):
    """Half of the mat in the shade of a lamp's light, which is redder than the rest by half."""
    pixels = mat_seen(rng, light=[[1.0, 1.0, 1.0], [0.7, 0.5, 0.36]])
    mat = look_at_mat(pixels, made_strip(rng).strip, [(MAT, Pose.identity())])
    assert not any(mat.is_covered(left, left + 60.0) for left in np.arange(-180.0, 120.0, 10.0))
    with_body = mat_seen(rng, (-140.0, -50.0, -200.0, 230.0), [[1.0, 1.0, 1.0], [0.7, 0.5, 0.36]])
    mat = look_at_mat(with_body, made_strip(rng).strip, [(MAT, Pose.identity())])
    assert mat.is_covered(60.0, 130.0)  # as seen from the front, -x lies to the right


@pytest.mark.parametrize(
    "boards", [[], [(Board("panel", "backdrop", MAT.size, MAT.ids, MAT.corners), Pose.identity())]]
)
def test_without_a_mat_nothing_is_told(rng, boards):
    told = print_told(mat_seen(rng), CAMERA, boards, POINTS)
    assert not np.any(told)


def test_print_too_small_to_be_told_is_not_told(rng):
    far = Camera(
        Lens(150.0, np.array([74.5, 99.5])), CAMERA.camera_from_world, (150, 200)
    )  # a tenth of the resolution
    assert SIZE[0] == 10 * far.size[0]
    told = print_told(mat_seen(rng, camera=far), far, [(MAT, Pose.identity())], POINTS)
    assert not np.any(told)
