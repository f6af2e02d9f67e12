"""Pages of one mat lie on one floor and in one place, as far as their markers let them."""

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.bundle_adjustment import State
from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.level import Level
from digitise.capture.calibration.stationary import stuck_groups
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose

# From above the hand and from low beside it, mm.
EYES = ([-50.0, -30.0, 727.0], [584.0, -94.0, 459.0])


def hand_scene(tools, rng):
    """Three pages of a mat and two photographs of what lies on the middle one."""
    pages = {name: pose for name, pose in tools["page_boards"]().items() if name.startswith("mat")}
    cameras = [Camera(tools["lens"], tools["look_at"](eye, [0, 0, 0.0], 0.0), tools["size"]) for eye in EYES]
    return tools["make_scene"](tools["a4"], cameras, [pages] * 2, noise=0.15, rng=rng)


def smaller(scene, photo, marker, px):
    """The scene with a marker's corners read too far in, as where a fingertip and its shadow touch it."""

    def read(found):
        if found.id != marker:
            return found
        middle = found.corners.mean(axis=0)
        half = np.linalg.norm(found.corners - middle, axis=1).mean()
        return replace(found, corners=middle + (found.corners - middle) * (1 - px / half))

    return scene.with_photo(photo, detections=tuple(map(read, scene.photos[photo].detections)))


def test_a_middle_page_with_few_markers_in_sight_does_not_tilt(tools, rng):
    """Corners 4 px too far in put the pages beside 4.3 mm over the floor where they lie as they like.

    Of paper that lifts 1 mm at its corners, half of that is unlikely already.
    """
    scene = hand_scene(tools, rng).without(0, [0, 1, 3]).without(1, [0, 2])
    result = calibrate(smaller(scene, 1, 1, 4.0).photos, scene.field)
    ends = np.array([[-105.0, 0.0, 0.0], [105.0, 0.0, 0.0]])
    over = [result.boards[0][name].apply(ends)[:, 2] for name in ("mat-left", "mat-right")]
    assert np.max(np.abs(over)) < 2.2


def test_pages_that_truly_stand_up_are_found_so(tools, rng):
    """A page bent up by 3 degrees, as on a soft couch: its own markers count, not the habit of paper."""
    scene = hand_scene(tools, rng)
    up = Pose(Rotation.from_euler("y", -3, degrees=True).as_matrix(), np.array([256.0, 0.0, 6.0]))
    pages = scene.boards[0] | {"mat-right": up}
    scene = tools["make_scene"](tools["a4"], scene.cameras, [pages] * 2, noise=0.15, rng=rng)
    found = calibrate(scene.photos, scene.field).boards[0]["mat-right"]
    assert np.allclose(found.translation, up.translation, atol=0.3)


def test_a_page_that_moved_between_photographs_is_still_noticed(tools, rng):
    scene = hand_scene(tools, rng)
    there = scene.boards[0]["mat-left"]
    pages = scene.boards[0] | {
        "mat-left": Pose(there.rotation, there.translation + np.array([0.0, 8.0, 0.0]))
    }
    scene = tools["make_scene"](tools["a4"], scene.cameras, [scene.boards[0], pages], noise=0.15, rng=rng)
    assert calibrate(scene.photos, scene.field).still["mat-left"] == ((0,), (1,))


def test_only_stuck_boards_are_put_together():
    groups = [[(0, 1)], [(1, 1), (2, 1)], [(0, 3)], [(1, 3)]]
    assert stuck_groups(groups, {1}) == [[(0, 1), (1, 1), (2, 1)], [(0, 3)], [(1, 3)]]


def test_heights_of_pages_and_their_derivative():
    rng = np.random.default_rng(4)
    turns = Rotation.from_rotvec(rng.normal(0, 0.4, (3, 3))).as_matrix()
    poses = tuple(Pose(turn, rng.normal(0, 100, 3)) for turn in turns)
    state = State(np.array([[3000.0, 1510, 1990, 0.05, -0.03]]), np.zeros(1, int), poses[:1], poses[1:])
    level = Level(rng.normal(0, 100, (5, 3)), np.array([0, 1, 1, 0, 1]))
    heights = [state.bodies[b].apply(xyz)[2] for b, xyz in zip(level.body, level.xyz, strict=True)]
    assert np.allclose(level.residuals(state), heights)  # one sd is 1 mm
    step = rng.normal(0, 0.2, state.size)
    analytic = level.rows(state.moved(step), step)
    for k in range(state.size):
        nudge = np.zeros(state.size)
        nudge[k] = 1e-6
        up, down = (level.residuals(state.moved(step + s * nudge)) for s in (1, -1))
        # central differences: rounding 1e-13 of 100 mm over 1e-6
        assert np.allclose((up - down) / 2e-6, analytic[:, k], atol=1e-5)
