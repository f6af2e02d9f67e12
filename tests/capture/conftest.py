"""Made scenes for camera tests: exact marker corners, and rendered markers, of known cameras."""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.markers import Detection
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.sheets.field import Board, MarkerField
from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose

SIZE = (3024, 4032)
FOCAL_35MM = 26.0
# 26 mm on a 43.27 mm diagonal of 5040 px is 3029 px; a real lens is off by a percent and not centred
LENS = Lens(3059.0, np.array([1523.5, 2006.5]), 0.05, -0.08)
SMALLEST_AREA_PX = 400.0


def look_at(eye, target, roll=0.0) -> Pose:
    """Return the camera-from-world pose of a camera at ``eye`` that looks at ``target``, upright."""
    eye, target = np.array(eye, float), np.array(target, float)
    z = (target - eye) / np.linalg.norm(target - eye)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    turn = Rotation.from_rotvec([0, 0, roll]).as_matrix() @ np.array([x, np.cross(z, x), z])
    return Pose(turn, -turn @ eye)


def standing(place, normal) -> Pose:
    """Return the world-from-board pose of an upright board at ``place`` that faces ``normal``."""
    n = np.array(normal, float) / np.linalg.norm(normal)
    x = np.cross([0.0, 0.0, 1.0], n)
    x /= np.linalg.norm(x)
    return Pose(np.stack([x, np.cross(n, x), n], axis=1), np.array(place, float))


@dataclass(frozen=True)
class Scene:
    """Known cameras and boards (per photograph) and what they show."""

    field: MarkerField
    cameras: tuple[Camera, ...]
    boards: tuple[dict[str, Pose], ...]
    photos: tuple[MarkedPhoto, ...]

    def with_photo(self, number: int, **changes) -> "Scene":
        photos = list(self.photos)
        photos[number] = replace(photos[number], **changes)
        return replace(self, photos=tuple(photos))

    def without(self, number: int, ids) -> "Scene":
        kept = tuple(d for d in self.photos[number].detections if d.id not in set(ids))
        return self.with_photo(number, detections=kept)


def project_board(camera: Camera, board: Board, pose: Pose) -> dict[int, np.ndarray]:
    """Return exact corners (4, 2) of a board's markers that are whole in the picture and large enough."""
    found = {}
    if pose.inverse().apply(camera.centre)[2] <= 0:
        return found
    for marker, corners in zip(board.ids, board.corners, strict=True):
        px = camera.project(pose.apply(np.c_[corners, np.zeros(4)]))
        a, b = px[2] - px[0], px[3] - px[1]
        inside = np.all((px >= 0) & (px <= np.array(camera.size) - 1))
        if inside and 0.5 * abs(a[0] * b[1] - a[1] * b[0]) > SMALLEST_AREA_PX:
            found[marker] = px
    return found


def make_scene(field, cameras, boards, *, noise=0.0, rng=None, sd=0.1) -> Scene:
    """See boards (one dictionary of poses per camera) with cameras; noise is the sd of corners, px."""
    photos = []
    for n, (camera, placed) in enumerate(zip(cameras, boards, strict=True)):
        exact = {}
        for board in field.boards:
            if board.name in placed:
                exact |= project_board(camera, board, placed[board.name])
        detections = tuple(
            Detection(i, px + (rng.normal(0, noise, (4, 2)) if noise else 0.0), np.full(4, max(sd, noise)))
            for i, px in sorted(exact.items())
        )
        photos.append(MarkedPhoto(f"photo-{n + 1}.jpg", camera.size, FOCAL_35MM, "one phone", detections))
    return Scene(field, tuple(cameras), tuple(boards), tuple(photos))


ROLL = sheet_field(sheet_set("roll"))
A4 = sheet_field(sheet_set("a4"))


def roll_boards() -> dict[str, Pose]:
    return {
        "mat": Pose.identity(),
        "backdrop-a": standing([40, -430, 610], [0.03, 1, 0.02]),
        "backdrop-b": standing([-430, 20, 605], [1, 0.02, 0.0]),
    }


def page_boards() -> dict[str, Pose]:
    """Lay the A4 set: three pages on the floor, five round each of two panels, all by eye."""
    twist = Rotation.from_rotvec([0, 0, 0.02]).as_matrix()
    boards = {
        "mat": Pose.identity(),
        "mat-left": Pose(np.eye(3), np.array([-255.0, 3, 0])),
        "mat-right": Pose(twist, np.array([256.0, -4, 0.0])),
    }
    places = {
        "upper-left": (-330, 800),
        "upper-right": (330, 800),
        "lower-left": (-330, 300),
        "lower-right": (330, 300),
        "top": (0, 980),
    }
    for where, (along, height) in places.items():
        boards[f"backdrop-a-{where}"] = standing([along, -430, height], [0.03, 1, 0])
        boards[f"backdrop-b-{where}"] = standing([-430, along, height], [1, 0.02, 0])
    return boards


def ring(count: int, lens: Lens = LENS) -> tuple[Camera, ...]:
    """Stand ``count`` cameras round a quarter turn, 1.6 m from the limb."""
    angles = np.linspace(0.02, np.pi / 2 - 0.03, count)
    return tuple(
        Camera(lens, look_at([1600 * np.sin(a), 1600 * np.cos(a), 430 + 60 * a], [0, 0, 430], 0.05 * a), SIZE)
        for a in angles
    )


def turned(boards: dict[str, Pose], angle: float) -> dict[str, Pose]:
    """Return the boards after the limb and its mat turned by ``angle``, as seen from the mat."""
    back = Pose(Rotation.from_rotvec([0, 0, -angle]).as_matrix(), np.array([5.0, 3.0, 0.0]))
    return {name: pose if name.startswith("mat") else back @ pose for name, pose in boards.items()}


def _walk(count: int = 2, **options) -> Scene:
    return make_scene(ROLL, ring(count), [roll_boards()] * count, **options)


def _turn(**options) -> Scene:
    boards = {name: pose for name, pose in roll_boards().items() if name != "backdrop-b"}
    return make_scene(ROLL, ring(2), [boards, turned(boards, np.pi / 2)], **options)


def _pages(**options) -> Scene:
    return make_scene(A4, ring(2), [page_boards()] * 2, **options)


def _pages_turn(**options) -> Scene:
    boards = {name: pose for name, pose in page_boards().items() if "-b-" not in name}
    return make_scene(A4, ring(2), [boards, turned(boards, np.pi / 2)], **options)


def _mat_alone(**options) -> Scene:
    return make_scene(ROLL, ring(2), [{"mat": Pose.identity()}] * 2, **options)


SCENES = {"walk": _walk, "turn": _turn, "pages": _pages, "pages-turn": _pages_turn, "mat-alone": _mat_alone}


@pytest.fixture
def scenes():
    """Scenes by name: ``scenes["walk"](noise=0.2, rng=rng)``."""
    return SCENES


@pytest.fixture
def tools():
    """The building blocks above, for scenes of a test's own."""
    return {
        "make_scene": make_scene,
        "ring": ring,
        "roll_boards": roll_boards,
        "page_boards": page_boards,
        "look_at": look_at,
        "lens": LENS,
        "size": SIZE,
        "roll": ROLL,
        "a4": A4,
        "paint": paint_marker,
    }


def paint_marker(marker_id, corners, shape, *, blur=1.0, noise=0.0, dark=0.03, bright=0.8, rng=None):
    """Render a marker in light, blur it, then apply the sRGB curve: (H, W) uint8.

    ``corners`` (4, 2) are exact, pixel centres on integers; each pixel is the mean of 64 samples.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    modules = np.pad(cv2.aruco.generateImageMarker(dictionary, marker_id, 8) / 255.0, 40, constant_values=1.0)
    plane = np.array([[0, 0], [8, 0], [8, 8], [0, 8]], np.float32)
    to_plane = np.linalg.inv(
        cv2.getPerspectiveTransform(plane, np.asarray(corners, np.float32)).astype(float)
    )
    grid = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    light = np.zeros(shape)
    # staggered samples: along either axis 64 different places, so that no side falls between them
    for j in range(8):
        for k in range(8):
            x = grid[1] + (k + (j + 0.5) / 8) / 8 - 0.5
            y = grid[0] + (j + (k + 0.5) / 8) / 8 - 0.5
            u, v, w = (row[0] * x + row[1] * y + row[2] for row in to_plane)
            column = np.clip(np.floor(u / w) + 40, 0, 87).astype(int)
            row = np.clip(np.floor(v / w) + 40, 0, 87).astype(int)
            light += modules[row, column] / 64
    light = cv2.GaussianBlur(dark + (bright - dark) * light, (0, 0), blur)
    if noise:
        light = np.clip(light + rng.normal(0, noise, light.shape), 0, 1)
    coded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(255 * coded).astype(np.uint8)
