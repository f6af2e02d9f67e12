"""The joint solve: exact corners, both set-ups, wrong markers, refusals, and the photo-real bars."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.lens import LensProfile, generic_prior, vector_from_lens
from digitise.capture.calibration.markers import find_markers
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import read_field
from digitise.errors import PoseError
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose, rotation_angle

HEIGHTS = (100.0, 400.0, 700.0)


def read_back(true: Camera, solved: Camera) -> np.ndarray:
    """Length and height error (3, 2) mm of a horizontal 100 mm on the mat's axis, across the view.

    Its ends are projected with the true camera; the solved camera's rays are cut with the vertical plane
    through the axis that faces it.
    """
    away = np.r_[true.centre[:2] / np.linalg.norm(true.centre[:2]), 0]
    across = np.array([-away[1], away[0], 0])
    facing = np.r_[solved.centre[:2] / np.linalg.norm(solved.centre[:2]), 0]
    errors = []
    for height in HEIGHTS:
        ends = np.array([0, 0, height]) + 50 * np.array([across, -across])
        rays = solved.rays(true.project(ends))
        back = solved.centre - rays * ((solved.centre @ facing) / (rays @ facing))[:, None]
        errors.append([np.linalg.norm(back[0] - back[1]) - 100, np.mean(back[:, 2]) - height])
    return np.array(errors)


def true_profile(tools) -> LensProfile:
    """A profile at the true lens, so wide that it pulls by less than rounding."""
    covariance = 1e4 * generic_prior(tools["size"], 26.0).covariance
    return LensProfile(tools["size"], None, vector_from_lens(tools["lens"]), covariance, 8, 0.1)


# ---------------------------------------------------------------- made scenes


@pytest.mark.parametrize("name", ["walk", "turn", "pages", "pages-turn", "mat-alone"])
def test_exact_corners_give_exact_poses(name, scenes, tools):
    scene = scenes[name]()
    result = calibrate(scene.photos, scene.field, true_profile(tools))
    for camera, true in zip(result.cameras, scene.cameras, strict=True):
        # the bar: 1e-6 of the distance (1.6 m) and of a radian
        assert np.linalg.norm(camera.centre - true.centre) < 1e-6 * np.linalg.norm(true.centre)
        assert rotation_angle(camera.camera_from_world.rotation @ true.camera_from_world.rotation.T) < 1e-6
        assert camera.lens.focal_px == pytest.approx(true.lens.focal_px, rel=1e-6)
    for placed, true in zip(result.boards, scene.boards, strict=True):
        for board, pose in placed.items():
            assert np.allclose(pose.translation, true[board].translation, atol=2e-3)
            assert np.allclose(pose.rotation, true[board].rotation, atol=2e-6)


@pytest.mark.parametrize(
    ("name", "limits"),
    [("walk", (0.05, 0.1)), ("turn", (0.2, 0.5)), ("pages", (0.1, 0.2))],
)
def test_noisy_corners_from_exif_alone(name, limits, scenes, rng):
    """0.15 px noise, focal a percent off; limits are the bar or, with more boards, well below it."""
    scene = scenes[name](noise=0.15, rng=rng)
    result = calibrate(scene.photos, scene.field)
    for camera, true in zip(result.cameras, scene.cameras, strict=True):
        error = np.abs(read_back(true, camera))
        assert np.max(error[:, 0]) < limits[0]
        assert np.max(error[:, 1]) < limits[1]


def test_boards_that_stood_still_are_shared_and_others_not(scenes, rng):
    still = calibrate(scenes["walk"](noise=0.2, rng=rng).photos, scenes["walk"]().field).still
    assert still == {"backdrop-a": ((0, 1),), "backdrop-b": ((0, 1),)}
    turned = calibrate(scenes["turn"](noise=0.2, rng=rng).photos, scenes["turn"]().field).still
    assert turned == {"backdrop-a": ((0,), (1,))}


def test_a_board_pushed_between_photographs_is_noticed(tools, rng):
    """6 mm is twice what counts as still, and many times what two views of such a board leave open."""
    first = tools["roll_boards"]()
    pushed = first["backdrop-b"]
    second = first | {"backdrop-b": Pose(pushed.rotation, pushed.translation + np.array([0, 6.0, 0]))}
    scene = tools["make_scene"](
        tools["roll"], tools["ring"](4), [first, first, second, second], noise=0.2, rng=rng
    )
    still = calibrate(scene.photos, scene.field).still
    assert still == {"backdrop-a": ((0, 1, 2, 3),), "backdrop-b": ((0, 1), (2, 3))}


@pytest.mark.slow
@pytest.mark.parametrize("count", [1, 3, 7, 12])
def test_one_to_twelve_photographs(count, scenes, rng):
    scene = scenes["walk"](count, noise=0.15, rng=rng)
    result = calibrate(scene.photos, scene.field)
    assert len(result.cameras) == count
    worst = max(np.max(np.abs(read_back(t, c))) for t, c in zip(scene.cameras, result.cameras, strict=True))
    assert worst < 0.2


def test_photograph_that_shows_only_other_pages_of_the_mat(scenes, rng):
    """The foot may cover the middle page; the pages beside it then hold the photograph."""
    scene = scenes["pages"](noise=0.15, rng=rng).without(1, [0, 1, 2])
    result = calibrate(scene.photos, scene.field)
    assert np.max(np.abs(read_back(scene.cameras[1], result.cameras[1]))) < 0.5
    assert result.still["mat-left"] == ((0, 1),)


def test_missing_focal_length(scenes, rng):
    scene = scenes["walk"](noise=0.15, rng=rng)
    photos = [replace(photo, focal_35mm=None, lens_key=None) for photo in scene.photos]
    result = calibrate(photos, scene.field)
    # two backdrops determine the focal length to about 0.01 % without any prior
    assert result.cameras[0].lens.focal_px == pytest.approx(scene.cameras[0].lens.focal_px, rel=5e-4)


def test_different_lenses_are_kept_apart(tools, rng):
    boards = [tools["roll_boards"]()] * 2
    first, second = tools["ring"](2)
    other = Camera(
        Lens(2800.0, np.array([1500.0, 2020.0]), -0.03, 0.02), second.camera_from_world, second.size
    )
    scene = tools["make_scene"](tools["roll"], [first, other], boards, noise=0.15, rng=rng)
    result = calibrate(scene.with_photo(1, lens_key="another", focal_35mm=24.0).photos, scene.field)
    assert result.lens_of == (0, 1)
    for camera, true in zip(result.cameras, scene.cameras, strict=True):
        assert camera.lens.focal_px == pytest.approx(true.lens.focal_px, rel=1e-3)


def test_focal_error_is_what_the_covariance_says(scenes, rng):
    z = []
    for _ in range(12):
        scene = scenes["turn"](noise=0.2, rng=rng)
        result = calibrate(scene.photos, scene.field)
        focal = result.cameras[0].lens.focal_px - scene.cameras[0].lens.focal_px
        z.append(focal / np.sqrt(result.covariance[0, 0]))
    # 12 draws: rms of unit normals lies in 0.5..1.6 with 99.9 %
    assert 0.5 < np.sqrt(np.mean(np.square(z))) < 1.6


def test_camera_modes_add_up_to_the_covariance_of_what_is_seen(scenes, rng):
    """The variance that modes give a projected point equals that of the full covariance."""
    scene = scenes["turn"](noise=0.2, rng=rng)
    result = calibrate(scene.photos, scene.field)
    assert 3 <= len(result.camera_modes) <= 12
    point = np.array([30.0, -20.0, 400.0])
    base = result.cameras[0]
    moved = np.array([mode[0].project(point) - base.project(point) for mode in result.camera_modes])
    steps = [(0, 1e-2), (1, 1e-2), (2, 1e-2), (3, 1e-6), (4, 1e-6)]
    columns = []
    for k, h in steps:
        vector = vector_from_lens(base.lens)
        vector[k] += h
        lens = Lens(vector[0], vector[1:3], vector[3], vector[4])
        columns.append((replace(base, lens=lens).project(point) - base.project(point)) / h)
    for k in range(6):
        h = 1e-6 if k < 3 else 1e-3
        step = h * np.eye(6)[k]
        pose = base.camera_from_world
        turn = Rotation.from_rotvec(step[:3]).as_matrix()
        new = replace(base, camera_from_world=Pose(turn @ pose.rotation, pose.translation + step[3:]))
        columns.append((new.project(point) - base.project(point)) / h)
    by = np.array(columns).T
    chosen = np.r_[0:5, 5:11]
    full = by @ result.covariance[np.ix_(chosen, chosen)] @ by.T
    # modes below 1 % of the strongest are dropped: at most 12 * 1e-4 of the variance; steps are finite
    assert np.allclose(moved.T @ moved, full, rtol=0.02, atol=0.02 * np.max(full))


# ---------------------------------------------------------------- wrong markers and refusals


def swapped(scene, number, pairs):
    change = dict(pairs) | {b: a for a, b in pairs}
    marks = [replace(d, id=change.get(d.id, d.id)) for d in scene.photos[number].detections]
    return scene.with_photo(number, detections=tuple(marks))


def test_a_few_swapped_ids_are_left_out(scenes, rng):
    scene = swapped(scenes["walk"](noise=0.15, rng=rng), 0, [(0, 5), (20, 45)])
    result = calibrate(scene.photos, scene.field)
    assert set(result.rejected[0]) == {0, 5, 20, 45}
    assert not result.rejected[1]
    assert not set(result.used[0]) & {0, 5, 20, 45}
    assert all(px > 100 for px in result.rejected[0].values())
    for camera, true in zip(result.cameras, scene.cameras, strict=True):
        assert np.max(np.abs(read_back(true, camera))) < 0.1


def test_one_corner_that_is_off_does_not_spoil_the_rest(scenes, rng):
    scene = scenes["turn"](noise=0.15, rng=rng)
    marks = list(scene.photos[1].detections)
    corners = marks[3].corners.copy()
    corners[2] += [9.0, -7.0]
    marks[3] = replace(marks[3], corners=corners)
    result = calibrate(scene.with_photo(1, detections=tuple(marks)).photos, scene.field)
    assert set(result.rejected[1]) == {marks[3].id}


MAT = range(14)
MANY_PAIRS = [(0, 5), (1, 8), (2, 11), *((14 + n, 65 - n) for n in range(9))]
REFUSED = {
    "no mat": (lambda s: s.without(1, MAT), "None of the mat.s markers can be read", "photo-2.jpg"),
    "no marker": (
        lambda s: s.with_photo(0, detections=()),
        "None of the mat.s markers can be read",
        "photo-1.jpg",
    ),
    "mat hidden": (lambda s: s.without(1, list(MAT)[1:]), "mat is hidden", "photo-2.jpg"),
    "many swapped": (
        lambda s: swapped(s, 0, MANY_PAIRS),
        "contradict the others|do not form one flat sheet",
        "photo-1.jpg",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_unusable_photographs_are_refused(name, scenes, rng):
    change, message, where = REFUSED[name]
    scene = change(scenes["walk"](noise=0.1, rng=rng))
    with pytest.raises(PoseError, match=message) as caught:
        calibrate(scene.photos, scene.field)
    assert caught.value.where == where
    assert caught.value.do


def test_sheets_of_another_size_are_refused_naming_markers(scenes, tools, rng):
    """Markers moved on the sheet by a few millimetres each: a field.json of another print."""
    scene = scenes["walk"](noise=0.1, rng=rng)
    boards = []
    for board in scene.field.boards:
        shifts = rng.normal(0, 6.0, (len(board.ids), 1, 2))
        boards.append(replace(board, corners=board.corners + shifts))
    with pytest.raises(PoseError, match=r"\d+, \d+") as caught:
        calibrate(scene.photos, replace(scene.field, boards=tuple(boards)))
    assert caught.value.where.startswith("photo-")


# ---------------------------------------------------------------- photo-real cases


def true_camera(photo) -> Camera:
    lens = Lens(photo["fx"], np.array([photo["cx"], photo["cy"]]), *photo["dist"][:2])
    return Camera(lens, Pose(np.array(photo["R"]), np.array(photo["t"])), (photo["width"], photo["height"]))


@pytest.mark.slow
def test_bars_on_photo_real_cases(case):
    field = read_field(case.field)
    photos = [read_photo(path) for path in case.photos]
    result = calibrate([MarkedPhoto.of(photo, find_markers(photo, field)) for photo in photos], field)
    for n, photo in enumerate(case.truth["photos"]):
        true, solved = true_camera(photo), result.cameras[n]
        assert np.linalg.norm(solved.centre - true.centre) < 5.0
        turn = solved.camera_from_world.rotation @ true.camera_from_world.rotation.T
        assert np.degrees(rotation_angle(turn)) < 0.2
        assert solved.lens.focal_px == pytest.approx(true.lens.focal_px, rel=0.007)
        assert result.rms_px[n] < 0.7
        errors = np.abs(read_back(true, solved))
        assert np.all(errors[:, 0] < 0.2)
        assert np.all(errors[:, 1] < 0.5)
        assert not result.rejected[n]
    moved = case.truth["setup"] == "turn"
    assert result.still["backdrop-a"] == (((0,), (1,)) if moved else ((0, 1),))
