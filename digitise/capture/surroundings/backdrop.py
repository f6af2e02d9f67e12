"""The plain part of the backdrop: where it is in the strip, and what colour it has beside the limb."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, Polygon
from shapely.ops import unary_union

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.sheet_colour import LEAST_SD, Mask, Values, fit_sheet
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

_QUIET = 0.3  # of a marker's side: the white zone that is not plain backdrop
_RIM = 0.13  # of the panel's size: its rim, where no limb stands
_LEAST_RIM_MM2 = 4000.0
_CORE_MM = 25.0  # half width of the limb's own place round its axis
_CORE_TOP_MM = 350.0  # an upright forearm ends little above
_ONE_PLANE_COS = np.cos(np.radians(12.0))
_ONE_PLANE_MM = 60.0
# What a darkening counts: a shadow changes brightness far more than hue.  The second is for limbs of the
# backdrop's hue, which only their shading tells from it.
SHADOW_WEIGHTS = (0.2, 1.0)
_DEEPEST_SHADOW = 0.9  # log units: soft shadows indoors keep more than a third of the light
_INLIER = 12.0  # squared distance, about 3.5 sd of one channel
_SMOOTH_MM = 28.0  # follows a soft shadow that begins at the limb
_COARSE = 5  # cells: slow changes need no finer grid


@dataclass(frozen=True)
class Area:
    """A plain area of a backdrop.

    Attributes
    ----------
    outline, inner
        (n, 3) closed outlines of the area and of its middle, which leaves out the rim; world, mm.
    """

    outline: Array
    inner: Array


@dataclass(frozen=True)
class Panel:
    """The plain backdrop as seen in a strip.

    Attributes
    ----------
    inside
        (H, W) True where the strip shows the plain part of a backdrop (or the limb before it).
    distance2
        (H, W) squared distance from the backdrop's colour in its own standard deviations, shadows
        counted lightly; zero outside ``inside``.
    """

    inside: Mask
    distance2: NDArray[np.float32]


def plain_areas(boards: Iterable[tuple[Board, Pose]], camera: Camera) -> list[Area]:
    """Return the plain areas enclosed by the markers of the boards that face the camera.

    Boards that lie in one plane (pages stuck to one wall) count as one backdrop.

    Parameters
    ----------
    boards
        Pairs of a board and its pose world_from_board.
    camera
        The camera that looks at them.
    """
    facing = [(b, pose) for b, pose in boards if pose.rotation[:, 2] @ (camera.centre - pose.translation) > 0]
    return [
        Area(world_from_plane.apply(_lift(outline)), world_from_plane.apply(_lift(inner)))
        for world_from_plane, corners in _coplanar(facing)
        for outline, inner in _enclosed(corners)
    ]


def find_panel(strip: Strip, areas: Iterable[Area], shadow_weight: float = SHADOW_WEIGHTS[0]) -> Panel:
    """Learn the backdrop's colour from its rim, then measure how far every point is from it.

    Parameters
    ----------
    strip
        The photograph's strip.
    areas
        Plain areas that may be seen in it.
    shadow_weight
        What a darkening within a soft shadow's depth counts, 0 to 1.
    """
    values = brightness_and_hue(strip.pixels)
    inside = np.zeros(values.shape[:2], bool)
    distance2 = np.zeros(values.shape[:2], np.float32)
    for area in areas:
        whole, rim = _paint(strip, area, inside)
        if rim.sum() * STEP_MM**2 < _LEAST_RIM_MM2:
            continue
        core = whole & ((np.abs(strip.offsets) < _CORE_MM) & (strip.heights < _CORE_TOP_MM)[:, None])
        distance2[whole] = _distance2_from_backdrop(values, whole, rim, core, shadow_weight)[whole]
        inside |= whole
    return Panel(inside, distance2)


def _lift(points: Array) -> Array:
    return np.concatenate([points, np.zeros_like(points[..., :1])], axis=-1)


def _coplanar(boards: list[tuple[Board, Pose]]) -> list[tuple[Pose, Array]]:
    """Gather boards by plane: (world_from_plane, all marker corners (n, 4, 2) in that plane)."""
    groups: list[tuple[Pose, list[Array]]] = []
    for board, pose in boards:
        for plane, corners in groups:
            offset = plane.inverse() @ pose
            if offset.rotation[2, 2] > _ONE_PLANE_COS and abs(offset.translation[2]) < _ONE_PLANE_MM:
                corners.append(offset.apply(_lift(board.corners))[..., :2])
                break
        else:
            groups.append((pose, [board.corners]))
    return [(plane, np.concatenate(corners)) for plane, corners in groups]


def _enclosed(corners: Array) -> list[tuple[Array, Array]]:
    """Take the markers (n, 4, 2) and their white zones out of their hull: (outline, inner outline) each."""
    side = float(np.median(np.linalg.norm(corners[:, 0] - corners[:, 1], axis=-1)))
    squares = unary_union([Polygon(quad).buffer(_QUIET * side, join_style="mitre") for quad in corners])
    plain = MultiPoint(corners.reshape(-1, 2)).convex_hull.difference(squares)
    plain = plain.buffer(-0.5 * side).buffer(0.5 * side)
    found = []
    for piece in getattr(plain, "geoms", [plain]):
        inner = piece.buffer(-_RIM * float(np.sqrt(piece.area)))
        if piece.area > (3.0 * side) ** 2 and inner.geom_type == "Polygon" and not inner.is_empty:
            found.append((_ring_points(piece), _ring_points(inner)))
    return found


def _ring_points(polygon: Polygon) -> Array:
    return np.asarray(polygon.segmentize(20.0).exterior.coords, float)


def _paint(strip: Strip, area: Area, taken: Mask) -> tuple[Mask, Mask]:
    """Return the strip's cells in the area, and those in its rim."""
    layers = []
    for points in (area.outline, area.inner):
        cells = strip.cells(strip.plane_from_world(points))
        layer = np.zeros(taken.shape, np.uint8)
        if np.isfinite(cells).all():  # otherwise it reaches behind the camera, hence not behind the limb
            cv2.fillPoly(layer, [np.round(np.clip(cells, -9999, 9999)).astype(np.int32)], 1)
        layers.append(layer > 0)
    whole = layers[0] & ~taken
    return whole, whole & ~layers[1]


def _distance2_from_backdrop(
    values: Values, whole: Mask, rim: Mask, core: Mask, shadow_weight: float
) -> Values:
    backdrop, spread = fit_sheet(values, whole, rim, core)
    for _ in range(2):
        difference = values - backdrop
        plain = whole & (squared_distance(difference / spread, difference[..., 0], shadow_weight) < _INLIER)
        backdrop = _smooth_fit(values, plain, backdrop)
        spread = _at_least(_spread(_sparse(values - backdrop, plain)))
    difference = values - backdrop
    return squared_distance(difference / spread, difference[..., 0], shadow_weight)


def squared_distance(scaled: Values, darkening: Values, shadow_weight: float) -> Values:
    """Squared length of colour differences in standard deviations, a shadow counted lightly.

    Parameters
    ----------
    scaled
        (..., 3) differences of brightness and the two hues, each in its standard deviation.
    darkening
        (...) log brightness less that of the surroundings: beyond the depth of any soft shadow it
        counts in full.
    shadow_weight
        What a darkening within a shadow's depth counts.
    """
    beyond = np.minimum(darkening + _DEEPEST_SHADOW, 0.0)
    within = np.minimum(darkening, 0.0) - beyond
    full = np.maximum(scaled[..., 0], 0.0)
    per_unit = np.divide(scaled[..., 0], darkening, out=np.zeros_like(darkening), where=darkening < 0)
    shade = full + per_unit * (beyond + shadow_weight * within)
    return np.asarray(shade**2 + scaled[..., 1] ** 2 + scaled[..., 2] ** 2, np.float32)


def _sparse(values: Values, where: Mask) -> Values:
    """Every fifth of the values chosen, which says as much of their spread: (n, 3)."""
    return values.reshape(-1, 3)[np.flatnonzero(where)[::5]]


def _at_least(spread: NDArray[np.floating]) -> NDArray[np.float32]:
    return np.asarray(np.maximum(spread, LEAST_SD), np.float32)


def _spread(residuals: Values) -> NDArray[np.float32]:
    # compressed photographs have many exact repeats and a few large errors: heed both the middle and the tail
    size = np.abs(residuals)
    return np.asarray(np.maximum(1.4826 * np.median(size, axis=0), np.quantile(size, 0.9, axis=0) / 1.645))


def _smooth_fit(values: Values, plain: Mask, fallback: Values) -> Values:
    """Follow slow changes of light: local mean over the plain cells, the polynomial far from any."""
    size = plain.shape[::-1]
    coarse = (max(1, size[0] // _COARSE), max(1, size[1] // _COARSE))
    light = np.dstack([(values - fallback) * plain[..., None], plain.astype(np.float32)])
    light = cv2.resize(light, coarse, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), _SMOOTH_MM / STEP_MM / _COARSE)
    mean = light[..., :3] / np.maximum(light[..., 3:], 0.02)
    return np.asarray(fallback + cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR), np.float32)
