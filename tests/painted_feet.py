"""Photographs of a foot whose surface is known: one colour of skin on a mat of another, soft edges, noise."""

import cv2
import numpy as np

from digitise.capture.expected.crop import Crop
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Pose
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.surface import PlacedShape

SIZE, FOCAL_PX = (1200, 1200), 1400.0
SKIN, MAT = np.array([196.0, 150.0, 120.0]), np.array([205.0, 206.0, 200.0])
_NOISE = 3.0
_FINE = 4
_GAMMA = 2.2  # light mixes, not its coded values
_MODES = 12


def looking(eye, target) -> Camera:
    """A camera at a place, looking at another, upright."""
    eye, target = np.asarray(eye, float), np.asarray(target, float)
    ahead = (target - eye) / np.linalg.norm(target - eye)
    right = np.cross(ahead, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    rotation = np.vstack([right, np.cross(ahead, right), ahead])
    return Camera(Lens(FOCAL_PX, np.array(SIZE) / 2.0), Pose(rotation, -rotation @ eye), SIZE)


def cameras(side: str) -> tuple[Camera, Camera, Camera]:
    """From the front, from the outer side, and from above, leaning back."""
    outer = -1.0 if side == "left" else 1.0
    middle = (0.0, 20.0, 50.0)
    return (
        looking((60, 900, 350), middle),
        looking((outer * 900, 40, 350), middle),
        looking((0, 200, 700), middle),
    )


def random_foot(side: str, rng) -> PlacedShape:
    """A foot that the prior thinks likely, standing a little off the middle and turned."""
    prior = usual_foot(side)
    parameters = np.zeros(len(prior.modes) + 3)
    parameters[:_MODES] = rng.normal(0, 0.8, _MODES)
    parameters[-3:] = *rng.normal(0, 8, 2), rng.normal(0, np.radians(4))
    return PlacedShape(prior, parameters)


def body_of(surface: PlacedShape) -> Mesh:
    return Mesh(surface.vertices, surface.prior.faces)


def leg_above(surface: PlacedShape, low: float = 150.0, high: float = 400.0) -> Mesh:
    """A cylinder from the foot's upper end on, as thick as the foot is there."""
    vertices = surface.vertices
    low = min(low, float(vertices[:, 2].max()) - 10.0)
    ring = vertices[np.abs(vertices[:, 2] - low) < 10.0][:, :2]
    centre = (ring.min(axis=0) + ring.max(axis=0)) / 2.0
    phi = 2 * np.pi * np.arange(40) / 40
    reach = np.ptp(ring, axis=0) / 2.0
    circle = centre + np.column_stack([np.cos(phi), np.sin(phi)]) * reach
    points = np.vstack([np.column_stack([circle, np.full(40, z)]) for z in (low, high)])
    here, ahead = np.arange(40), np.roll(np.arange(40), -1)
    faces = np.vstack(
        [np.column_stack([here, ahead, ahead + 40]), np.column_stack([here, ahead + 40, here + 40])]
    )
    return Mesh(points, faces)


def paint(surface: PlacedShape, camera: Camera, rng, skin=SKIN, mat=MAT, sock=None) -> np.ndarray:
    """The photograph (H, W, 3) uint8; with a sock the foot is of its colour, the leg above of the skin's."""
    # drawn large: every pixel that a triangle touches is filled, which is half a pixel too much all round
    fine = tuple(_FINE * length for length in SIZE)
    blank = Crop(np.zeros((fine[1], fine[0], 3), np.uint8), camera, np.zeros(2), 1.0 / _FINE, 0.5 / _FINE)
    covered = blank.drawn(body_of(surface)) | blank.drawn(leg_above(surface))
    shares = cv2.resize(covered.astype(np.float32), SIZE, interpolation=cv2.INTER_AREA)
    soft = cv2.GaussianBlur(shares, (0, 0), 0.8)[..., None]
    if sock is not None:
        legs = cv2.resize(blank.drawn(leg_above(surface)).astype(np.float32), SIZE)[..., None]
        skin = legs * skin + (1 - legs) * sock
    light = soft * (skin / 255) ** _GAMMA + (1 - soft) * (mat / 255) ** _GAMMA
    picture = 255 * light ** (1 / _GAMMA) + rng.normal(0, _NOISE, light.shape)
    return np.clip(np.round(picture), 0, 255).astype(np.uint8)
