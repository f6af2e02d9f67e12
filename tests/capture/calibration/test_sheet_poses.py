"""Our own sets of sheets determine two cameras well enough, stuck down by eye and half hidden by a limb."""

import cv2
import numpy as np
import pytest

from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.markers import Detection
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.paper import PAGE_MM

SIZE = (3024, 4032)
CORNER_SD_PX = 0.1
LIMB_RADIUS_MM = 100.0
PANEL_MM = (900.0, 1200.0)


def turn(*vector):
    return cv2.Rodrigues(np.array(vector, dtype=float))[0]


def looking_at(centre, target):
    """Return camera-from-world for a camera held upright."""
    forward = (target - centre) / np.linalg.norm(target - centre)
    right = np.cross(forward, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.stack([right, np.cross(forward, right), forward])
    return Pose(rotation, -rotation @ centre)


def on_panel(name, paper):
    """Return where a backdrop sheet's centre goes on its panel: across from the middle, up from the floor."""
    if paper == "roll":
        return 0.0, PANEL_MM[1] / 2
    short, long = PAGE_MM[paper]
    if name.endswith("top"):
        return 0.0, PANEL_MM[1] - short / 2
    across = PANEL_MM[0] / 2 - short / 2
    up = long / 2 + 60.0 if "lower" in name else PANEL_MM[1] - long / 2 - 170.0
    return (-across if name.endswith("left") else across), up


def put_up(sheet, paper, rng):
    """Return world-from-board of a sheet as a person sticks it: askew by about a degree and 3 mm."""
    name, (width, height) = sheet.board.name, sheet.board.size
    if name == "mat":
        return Pose.identity()
    if sheet.board.role == "mat":
        short, long = PAGE_MM[paper]
        across = (long + width) / 2 * (-1 if name.endswith("left") else 1)
        return Pose(
            turn(0, 0, rng.normal(0, 0.02)),
            np.array([across, (height - short) / 2, 0]) + rng.normal(0, 2, 3) * (1, 1, 0),
        )
    across, up = on_panel(name, paper)
    upright = Pose(turn(np.pi / 2, 0, 0), np.array([across, 550.0, up]))
    # panel A stands behind the heel and faces the toes, panel B stands on the left and faces right
    round_limb = Pose(turn(0, 0, np.pi if "-a" in name else np.pi / 2), np.zeros(3))
    return round_limb @ upright @ Pose(turn(*rng.normal(0, 0.02, 3)), rng.normal(0, 3, 3))


def seen(camera, world_from_board, board, rng):
    """Return noisy detections of the markers in the picture that the limb does not hide."""
    if world_from_board.inverse().apply(camera.centre)[2] <= 0:
        return
    for marker_id, corners in zip(board.ids, board.corners, strict=True):
        world = world_from_board.apply(np.column_stack([corners, np.zeros(4)]))
        pixels = camera.project(world)
        if not np.all((pixels > 0) & (pixels < np.array(SIZE) - 1)):
            continue
        sight = world.mean(axis=0)[:2] - camera.centre[:2]
        nearest = -camera.centre[:2] @ sight / (sight @ sight)
        if nearest < 1 and np.linalg.norm(camera.centre[:2] + nearest * sight) < LIMB_RADIUS_MM:
            continue
        yield Detection(
            int(marker_id), pixels + rng.normal(0, CORNER_SD_PX, (4, 2)), np.full(4, CORNER_SD_PX)
        )


@pytest.mark.parametrize("both_in_sight", [True, False])
@pytest.mark.parametrize("paper", ["a4", "letter", "roll"])
def test_two_cameras_are_found(paper, both_in_sight, rng):
    sheets = sheet_set(paper)
    lens = Lens(2950.0, np.array([1521.0, 2007.0]), 0.02)
    cameras = [
        Camera(lens, looking_at(np.array(centre), np.array([0.0, 0.0, 450.0])), SIZE)
        for centre in ([0.0, 1750.0, 500.0], [1750.0, 0.0, 500.0])
    ]
    placed = {sheet.board.name: put_up(sheet, paper, rng) for sheet in sheets}
    photos = []
    for number, camera in enumerate(cameras):
        behind = "backdrop-" + "ab"[number]
        boards = [
            sheet.board
            for sheet in sheets
            if both_in_sight or sheet.board.role == "mat" or sheet.board.name.startswith(behind)
        ]
        found = [item for board in boards for item in seen(camera, placed[board.name], board, rng)]
        photos.append(MarkedPhoto(f"photo-{number}.jpg", SIZE, 26.0, "phone", tuple(found)))
    solved = calibrate(photos, sheet_field(sheets)).cameras
    for true, ours in zip(cameras, solved, strict=True):
        # the bar for photographs is 5 mm and 0.7 %; both backdrops in sight leave most of it free
        assert np.linalg.norm(ours.centre - true.centre) < (2.0 if both_in_sight else 5.0)
        assert ours.lens.focal_px == pytest.approx(lens.focal_px, rel=0.001 if both_in_sight else 0.004)
