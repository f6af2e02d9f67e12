"""Legs and arms of body meshes, and visits to them: exact outlines of known cameras with stated errors.

``tests/data/limbs/sections.npz`` holds the horizontal sections of limbs as Fourier coefficients of their
support function to order 10, every 10 mm, in hundredths of a millimetre.  Where they come from and how they
were made is told in ``tests/data/limbs/README.md``.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from functools import cache

import numpy as np
from conftest import ROOT
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation
from synthetic import HarmonicSolid, exact_views, look_at

from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.view import View
from digitise.tape.rows import TapeRow

FILE = ROOT / "tests/data/limbs/sections.npz"
STEP_MM = 10.0
# by how much the person stands turned at the second visit, degrees, in turn from pair to pair
TURNS = (0, 4, 8, 12, 15, 10, 0, -6, -12, 14)
# one 35 mm equivalent in pixels of a picture of 3024 x 4032
PX_PER_35MM = np.hypot(3024, 4032) / 43.2666


@dataclass(frozen=True)
class BodyLimb:
    """One limb, once or at two visits; ``low`` to ``high`` is what is to be measured, mm."""

    number: int
    side: str
    low: float
    high: float
    ankle: float
    knee: float
    solids: tuple[HarmonicSolid, ...]


@dataclass(frozen=True)
class Errors:
    """One sd each of what goes wrong at a visit: edges in pixels, tape in mm, cameras in their own sds.

    ``bias``, ``hand`` and ``print_scale`` are the same at both visits.  Before each photograph the limb has
    moved by ``shift`` mm each way and leant and turned by ``lean`` degrees about each axis.
    """

    bias: float = 0.10
    visit_bias: float = 0.03
    offset: float = 0.08
    wander: float = 0.15
    print_scale: float = 0.001
    hand: float = 1.2
    row: float = 1.6
    height: float = 1.0
    cameras: float = 1.0
    shift: float = 0.0
    lean: float = 0.0

    def exact(self) -> Errors:
        """Return no errors at all; girths are still whole millimetres."""
        return Errors(*(0.0 for _ in fields(self)))


# as measured on 16 edges that the program found in four photo-real cases; and much worse
AS_MEASURED = Errors()
POOR_EDGES = Errors(bias=0.15, visit_bias=0.05, offset=0.2, wander=0.3)


@cache
def limbs(kind: str) -> tuple[BodyLimb, ...]:
    """Return the limbs of one kind: ``pair`` (legs at two visits), ``leg`` or ``arm``."""
    with np.load(FILE) as file:
        sections, start = file[f"{kind}_sections"] / 100.0, file[f"{kind}_start"]
        described = file[f"{kind}_limbs"]
    ends = np.cumsum(start[:, 1]).astype(int)
    solids = [
        HarmonicSolid.through(first + STEP_MM * np.arange(int(count)), sections[end - int(count) : end])
        for (first, count), end in zip(start, ends, strict=True)
    ]
    visits = len(solids) // len(described)
    return tuple(
        BodyLimb(int(n), "right" if right else "left", *where, tuple(solids[visits * i : visits * (i + 1)]))
        for i, (n, right, *where) in enumerate(described.tolist())
    )


def _modes(views: int) -> np.ndarray:
    """(J, views, 11) steps of cameras for one sd of each mode of a photo-real calibration."""
    with np.load(FILE) as file:
        table = file["camera_modes"]
    return table[:, np.minimum(np.arange(views), table.shape[1] - 1)]


def _moved(camera: Camera, step: np.ndarray) -> Camera:
    """Return a camera moved: rotation (rad) and translation in its frame, log focal, centre, k1, k2."""
    pose, lens = camera.camera_from_world, camera.lens
    angle = np.linalg.norm(step[:3])
    x, y, z = step[:3] / max(angle, 1e-15)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    return Camera(
        Lens(
            lens.focal_px * np.exp(step[6]),
            lens.centre_px + step[7:9],
            lens.k1 + step[9],
            lens.k2 + step[10],
        ),
        Pose(turn @ pose.rotation, turn @ pose.translation + step[3:6]),
        camera.size,
    )


def _cameras(limb: BodyLimb, azimuths: tuple[float, ...], spread: float, rng) -> tuple[Camera, ...]:
    """Hand-held cameras of one phone, each within ``spread`` degrees of its azimuth."""
    focal = rng.uniform(24, 28) * PX_PER_35MM
    lens = Lens(focal, np.array([1511.5, 2015.5]) + rng.normal(0, 8, 2), 0.08, -0.12)
    middle = limb.high / 2
    found = []
    for azimuth in azimuths:
        angle = np.radians(azimuth + rng.uniform(-spread, spread))
        away, up = rng.uniform(1400, 1800), middle + rng.uniform(-60, 120)
        place = np.array([away * np.cos(angle), away * np.sin(angle), up])
        target = np.array([*rng.normal(0, 12, 2), middle + rng.normal(0, 25)])
        found.append(Camera(lens, look_at(place, target), (3024, 4032)))
    return tuple(found)


def _wander(z: np.ndarray, sd: float, rng) -> np.ndarray:
    at = np.arange(z.min() - 5, z.max() + 10, 5.0)
    distance = np.abs(at[:, None] - at) * np.sqrt(3) / 50
    root = np.linalg.cholesky((1 + distance) * np.exp(-distance) + 1e-9 * np.eye(len(at)))
    return np.interp(z, at, sd * (root @ rng.standard_normal(len(at))))


def _tape(limb: BodyLimb, solid: HarmonicSolid, errors: Errors, hand: float, rng) -> tuple[TapeRow, ...]:
    ankle, knee, top = limb.ankle, limb.knee, limb.high + 65
    part = [ankle + 30, ankle + (knee - ankle) / 3, ankle + 2 * (knee - ankle) / 3, knee]
    heights = np.round([*part, knee + 0.55 * (top - knee)], -1)
    at = heights + errors.height * rng.standard_normal(len(heights))
    girths = solid.girth(at) + errors.hand * hand + errors.row * rng.standard_normal(len(at))
    rows = zip(heights.tolist(), np.round(girths).tolist(), strict=True)
    return tuple(TapeRow(height, girth) for height, girth in rows)


@dataclass(frozen=True)
class Visit:
    """What a visit gives: views, tape, and how unsure the cameras are; the limb stands turned on the mat."""

    views: tuple[View, ...]
    tape: tuple[TapeRow, ...]
    camera_modes: tuple[tuple[Camera, ...], ...]
    axis_from_world: Pose


def visits(
    limb: BodyLimb,
    errors: Errors,
    *,
    seed: int = 0,
    between: tuple[float, ...] = (),
    spread: float = 6.0,
) -> tuple[Visit, ...]:
    """Return every visit to a limb; the second turned, shifted and with another phone.

    Parameters
    ----------
    limb, errors
        Who is seen, and how badly.
    seed
        Of all that is drawn, together with the limb's number.
    between
        Azimuths of more photographs, degrees; 45 lies between front and left side of the picture's limb.
    spread
        By how much photographs miss the front and the side, degrees.
    """
    rng = np.random.default_rng([1400, limb.number, seed])
    shared = rng.standard_normal(3)
    azimuths = (90.0, 0.0 if limb.side == "right" else 180.0, *between)
    yaw, shift = np.radians(rng.uniform(-6, 6)), rng.uniform(-8, 8, 2)
    turn = TURNS[limb.number % len(TURNS)]
    found = []
    for solid in limb.solids:
        found.append(_visit(limb, solid, errors, (yaw, shift), shared, azimuths, spread, rng))
        yaw, shift = yaw + np.radians(turn), shift + rng.uniform(-20, 20, 2) * (turn != 0)
    return tuple(found)


def _visit(limb, solid, errors, stand, shared, azimuths, spread, rng) -> Visit:
    bias, hand, scale = shared
    yaw, shift = stand
    c, s = np.cos(yaw), np.sin(yaw)
    turn = np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])
    axis = Pose(turn.T, -turn.T @ np.array([*shift, 0.0]))
    true = _cameras(limb, azimuths, spread, rng)
    table = _modes(len(true))
    step = np.tensordot(errors.cameras * rng.standard_normal(len(table)), table, axes=1)
    told = tuple(_moved(camera, own) for camera, own in zip(true, step, strict=True))
    grown = 1 + errors.print_scale * scale
    told = tuple(
        replace(camera, camera_from_world=_scaled(camera.camera_from_world, grown)) for camera in told
    )
    off = errors.bias * bias + errors.visit_bias * rng.standard_normal()
    views = []
    for view, camera in zip(_seen(limb, solid, true, axis, errors, rng), told, strict=True):
        edges = []
        for edge in view.edges:
            z = np.linspace(limb.low - 30, limb.high + 30, len(edge.points))
            error = off + errors.offset * rng.standard_normal() + _wander(z, errors.wander, rng)
            moved = edge.points + error[:, None] * edge.normals
            edges.append(replace(edge, points=moved, sd_px=np.full(len(z), 0.25)))
        views.append(View(view.name, camera, tuple(edges)))
    modes = tuple(tuple(_moved(camera, own) for camera, own in zip(told, row, strict=True)) for row in table)
    return Visit(tuple(views), _tape(limb, solid, errors, hand, rng), modes, axis)


def _seen(limb, solid, cameras, axis, errors, rng) -> list[View]:
    """Return what each camera sees; before each the limb has moved about its foot, if it moves at all."""
    found = []
    for camera in cameras:
        stands = axis
        if errors.shift or errors.lean:
            turn = Rotation.from_rotvec(np.radians(errors.lean) * rng.standard_normal(3)).as_matrix()
            step = np.append(errors.shift * rng.standard_normal(2), 0.0)
            stands = Pose(turn, step) @ axis
        views = exact_views(solid, (camera,), limb.low - 30, limb.high + 30, step=2.0, axis_from_world=stands)
        found.append(replace(views[0], name=f"view-{len(found) + 1}"))
    return found


def _scaled(pose: Pose, scale: float) -> Pose:
    return Pose(pose.rotation, pose.translation * scale)


def volume_change(limb: BodyLimb, low: float, high: float) -> tuple[float, float]:
    """Return the true first volume and the true change between two heights, mL."""
    first, second = (solid.volume(low, high) for solid in limb.solids)
    return first, second - first


def mean_radius(solid: HarmonicSolid) -> CubicSpline:
    """Return the mean radius as a curve of height."""
    return CubicSpline(solid.coefficients.x, solid.coefficients(solid.coefficients.x)[:, 0])
