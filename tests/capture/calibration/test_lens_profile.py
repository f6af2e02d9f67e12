"""Lens profiles, and the joint solve on thirteen real photographs of a chessboard."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from digitise.capture.calibration.bundle_adjustment import Points, State, solve
from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.initial_pose import board_pose
from digitise.capture.calibration.lens import LensPrior, lens_from_vector, vector_from_lens
from digitise.capture.calibration.lens_profile import lens_profile
from digitise.errors import LensError, PoseError
from digitise.geometry.camera import Camera

CHESSBOARD = Path(__file__).parents[2] / "data/opencv-chessboard"
STORED_FOCAL = 535.916  # left_intrinsics.yml
SQUARE_MM = 25.0


@pytest.fixture(scope="module")
def chessboard():
    """Board points (54, 3), corners (13, 54, 2) px, refined in 11 px windows like the stored one's."""
    columns, rows = np.meshgrid(np.arange(9), np.arange(6))
    # our board frame has y up, so that the camera sees z out of the paper
    points = SQUARE_MM * np.stack([columns, -rows, np.zeros((6, 9))], axis=-1).reshape(-1, 3)
    corners = []
    for path in sorted(CHESSBOARD.glob("left*.jpg")):
        grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
        found, px = cv2.findChessboardCorners(grey, (9, 6))
        assert found, path.name
        stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 50, 1e-4)
        corners.append(cv2.cornerSubPix(grey, px, (11, 11), (-1, -1), stop).reshape(-1, 2).astype(float))
    return points, np.array(corners)


def test_real_photographs_give_the_stored_focal_length(chessboard):
    points, corners = chessboard
    count = len(corners)
    wide = LensPrior(np.array([640.0, 319.5, 239.5, 0, 0]), np.diag([300.0, 100, 100, 1, 1]) ** 2)
    start = tuple(board_pose(lens_from_vector(wide.mean), points, px) for px in corners)
    seen = Points(
        np.tile(points, (count, 1)),
        corners.reshape(-1, 2),
        np.full(54 * count, 0.1),
        np.repeat(np.arange(count), 54),
        np.full(54 * count, -1),
    )
    solution = solve(State(wide.mean[None], np.zeros(count, int), start, ()), seen, [wide])
    rms = np.sqrt(np.mean(np.sum(solution.residuals**2, axis=1)))
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K3
    theirs, matrix, distortion, _, _ = cv2.calibrateCamera(
        [points.astype(np.float32)] * count,
        [px.astype(np.float32) for px in corners],
        (640, 480),
        np.diag([500.0, 500.0, 1.0]),
        None,
        flags=flags,
    )
    lens = solution.state.lenses[0]
    assert lens[0] == pytest.approx(STORED_FOCAL, rel=0.003)  # the bar
    # same corners and same model: the same optimum, up to the stop of their solver
    assert lens[0] == pytest.approx(matrix[0, 0], rel=1e-4)
    assert np.allclose(lens[1:3], matrix[:2, 2], atol=0.1)
    assert np.allclose(lens[3:5], distortion.ravel()[:2], atol=2e-3)
    assert rms < theirs * 1.0001
    # the stored model has three more distortion terms; it lies within four of our standard deviations
    assert abs(lens[0] - STORED_FOCAL) < 4 * np.sqrt(solution.covariance[0, 0])


def views(tools, count, rng, *, tilt=1.0, noise=0.2):
    """Photographs of one upright board from all sides."""
    board = {"backdrop-a": tools["roll_boards"]()["backdrop-a"]}
    cameras = []
    for k in range(count):
        angle = 2 * np.pi * k / count
        eye = [tilt * 900 * np.cos(angle), 1300 + 100 * (k % 3), 610 + tilt * 700 * np.sin(angle)]
        cameras.append(
            Camera(tools["lens"], tools["look_at"](eye, [40, -430, 610], 0.2 * (k % 4)), tools["size"])
        )
    return tools["make_scene"](tools["roll"], cameras, [board] * count, noise=noise, rng=rng)


def test_profile_recovers_the_lens(tools, rng):
    profile = lens_profile(views(tools, 9, rng).photos, tools["roll"])
    z = (profile.mean - vector_from_lens(tools["lens"])) / np.sqrt(np.diag(profile.covariance))
    assert np.all(np.abs(z) < 4)
    assert profile.photos == 9
    assert profile.rms_px == pytest.approx(0.2 * np.sqrt(2), rel=0.1)
    assert np.sqrt(profile.covariance[0, 0]) < 0.001 * profile.mean[0]


def test_profile_sharpens_a_calibration(tools, scenes, rng):
    profile = lens_profile(views(tools, 9, rng).photos, tools["roll"])
    scene = scenes["mat-alone"](noise=0.2, rng=rng)
    without, given = calibrate(scene.photos, scene.field), calibrate(scene.photos, scene.field, profile)
    assert given.covariance[0, 0] < 0.5 * without.covariance[0, 0]
    assert given.cameras[0].lens.focal_px == pytest.approx(tools["lens"].focal_px, rel=1e-3)


def test_swapped_ids_are_left_out(tools, rng):
    scene = views(tools, 8, rng)
    marks = list(scene.photos[2].detections)
    marks[0], marks[5] = replace(marks[0], id=marks[5].id), replace(marks[5], id=marks[0].id)
    profile = lens_profile(scene.with_photo(2, detections=tuple(marks)).photos, tools["roll"])
    assert profile.mean[0] == pytest.approx(tools["lens"].focal_px, rel=2e-3)


def test_unusable_sets_are_refused(tools, rng):
    scene = views(tools, 8, rng)
    table = [
        (scene.photos[:7], LensError, "at least 8"),
        (scene.with_photo(3, lens_key="another").photos, LensError, "not of the same phone"),
        (scene.with_photo(3, detections=()).photos, LensError, "No sheet"),
        (views(tools, 8, rng, tilt=0.0, noise=1.0).photos, LensError, "too alike"),
        ((*scene.photos[:7], replace(scene.photos[2], name="copy.jpg")), LensError, "same photograph as"),
    ]
    for photos, error, message in table:
        with pytest.raises(error, match=message) as caught:
            lens_profile(photos, tools["roll"])
        assert caught.value.do


def test_sheet_that_does_not_belong_is_refused(tools, rng):
    scene = views(tools, 8, rng)
    boards = [
        replace(b, corners=b.corners + rng.normal(0, 8.0, (len(b.ids), 1, 2))) for b in scene.field.boards
    ]
    with pytest.raises(PoseError):
        lens_profile(scene.photos, replace(scene.field, boards=tuple(boards)))
