"""Arms and legs that lie over a sheet: exact outlines and silhouettes of solids with known axes."""

import numpy as np
from synthetic import Solid, exact_views, rim

from digitise.capture.lying.silhouette import Silhouette
from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.paper import PAGE_MM
from digitise.shape.lying.straight import upright_frame

LENS = Lens(3000.0, np.array([2015.5, 1511.5]))
ELEVATIONS = (50.0, 90.0, 130.0)


def lying_axis(turn: float = 0.0, pitch: float = 1.0, start=(0.0, 0.0, 110.0)) -> Pose:
    """axis_from_world of a limb whose trunk lies towards -y, turned and pitched by degrees."""
    a, b = np.radians([turn, pitch])
    along = np.array([np.sin(a) * np.cos(b), -np.cos(a) * np.cos(b), np.sin(b)])
    return upright_frame(along, np.array(start, float))


def cameras_above(elevations=ELEVATIONS, middle=(0.0, -200.0, 100.0), away: float = 1150.0):
    """Cameras held broadside over a limb that lies along y, at degrees from the +x side."""
    found = []
    for elevation in elevations:
        angle = np.radians(elevation)
        out = np.array([np.cos(angle), 0.0, np.sin(angle)])
        right = np.array([0.0, 1.0 if elevation < 90.1 else -1.0, 0.0])
        rotation = np.stack([right, np.cross(-out, right), -out])
        centre = np.array(middle) + away * out
        found.append(Camera(LENS, Pose(rotation, -rotation @ centre), (4032, 3024)))
    return tuple(found)


def views(solid: Solid, axis: Pose, low: float, high: float, cameras=None):
    return exact_views(solid, cameras or cameras_above(), low, high, step=2.0, axis_from_world=axis)


def silhouette(solid: Solid, axis: Pose, low: float, high: float, camera: Camera, name: str) -> Silhouette:
    """Both rims of a solid at equal heights: nearly what a level across the picture shows."""
    z = np.arange(low, high, 4.0)
    eye, world = axis.apply(camera.centre), axis.inverse()
    rays = []
    for side in (1.0, -1.0):
        points, _ = rim(solid, eye, z, side)
        ray = world.apply(points) - camera.centre
        rays.append(ray / np.linalg.norm(ray, axis=1, keepdims=True))
    return Silhouette(camera, rays[0], rays[1], name)


def laid(paper):
    """Boards of the mat and one backdrop, world_from_board, the mat's middle page at the origin."""
    boards = {board.name: board for board in sheet_field(sheet_set(paper)).boards}
    if paper == "roll":
        middle = np.array([0.0, -370.0, -0.6])
        return [(boards["mat"], flat(0, 0)), (boards["backdrop-a"], Pose(np.eye(3), middle))], middle
    short, long = PAGE_MM[paper]
    places = {
        "mat": (0.0, 0.0),
        "mat-left": (-(long + short) / 2, (long - short) / 2),
        "mat-right": ((long + short) / 2, (long - short) / 2),
    }
    middle = np.array([0.0, -(450.0 + short / 2), 0.0])
    for side, x in (("left", -345.0), ("right", 345.0)):
        for row, bottom in (("lower", -540.0), ("upper", 133.0)):
            places[f"backdrop-a-{row}-{side}"] = (x, middle[1] + bottom + long / 2)
    return [(boards[name], flat(*at)) for name, at in places.items()], middle


def flat(x, y):
    return Pose(np.eye(3), np.array([x, y, 0.0]))
