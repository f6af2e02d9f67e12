"""What a photograph shows of a limb before the plain sheet it lies over, coarsely.

No axis is known yet, so the photograph is read in the plane of the sheet: there the sheet's colour is learnt,
and what stands out from it is the limb with its supports, as the camera casts it onto the sheet.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_fill_holes

from digitise.capture.lying.cut import LEAST_CELLS, LEAST_RED, LIKE_SHEET, SHINES, graph_cut, warmer_than
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.photograph import Photograph
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.photo.resample import read_between
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.backdrop import Panel, find_panel
from digitise.capture.surroundings.plain_areas import Area, plain_areas
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.runs import true_runs

_STANDS_OUT = 20.0  # squared distance from the sheet's colour
_HUE_BIN, _ONE_HUE = 0.1, 0.3  # log units; skin of one limb in one light keeps within the latter
# Log red over green: skin had 0.2 to 0.8 over white paper in renders, from pale to very dark.
_RED = 0.08
_SHADOW_HUE = 0.2  # log units off the sheet's own hue: shadows keep within
_LEAST_MM2 = 8000.0  # 200 mm of a thin wrist
_LIT = 0.75  # of the skin of the commonest hue: a support that is not white is seldom brighter
_SURELY = np.ones((9, 9), np.uint8)  # 8 mm within a mask of skin
_LEVEL_MM = 4.0  # between the levels that are read off
_PLAIN_BESIDE = 3  # cells beyond an edge that must show the sheet
_LEAST_LEVELS = 30
_DRAWN_CELLS = 800.0  # along a photograph's longer side: a cell is about as large as one of the strip
_LEAST_WIDTH_MM = 25.0
_FLAT = 0.5  # cosine to the vertical of a sheet that lies


@dataclass(frozen=True)
class Silhouette:
    """Both edges of a limb at levels along it, where the plain sheet is seen beyond both.

    Attributes
    ----------
    camera
        The photograph's camera.
    first, second
        (n, 3) unit rays from the camera through the two edges.
    name
        The photograph's name, for messages.
    """

    camera: Camera
    first: Array
    second: Array
    name: str

    @property
    def middle(self) -> Array:
        """(n, 3) unit rays that halve the angle between the edges."""
        sums = self.first + self.second
        return np.asarray(sums / np.linalg.norm(sums, axis=1, keepdims=True))


def find_silhouette(photo: Photograph, camera: Camera, boards: Iterable[tuple[Board, Pose]]) -> Silhouette:
    """Find what stands out from the lying sheet in a photograph.

    Parameters
    ----------
    photo, camera
        The photograph and its solved camera.
    boards
        All sheets with their poses world_from_board; each may offer the plain area, whatever its role.

    Raises
    ------
    OutlineError
        When no lying sheet with a plain middle is seen, or nothing that may be a limb before it.
    """
    areas = [area for area in plain_areas(boards, camera) if _lies(area)]
    if not areas:
        raise OutlineError(
            "no plain sheet was found under the limb.",
            where=photo.name,
            do="Lay a marked sheet under the limb, so that its markers frame it in the picture.",
        )
    strip = _sheet_strip(photo, camera, max(areas, key=_size))
    panel = find_panel(strip, areas)
    thing = _largest(panel.inside & (panel.distance2 > _STANDS_OUT), photo.name)
    skin = _largest(_of_one_colour(strip, thing, panel.inside & ~thing), photo.name)
    mask = _largest(_whole(strip, thing, skin, panel), photo.name)
    first, second = _levels(mask, panel.inside)
    if len(first) < _LEAST_LEVELS:
        raise OutlineError(
            f"only {_LEVEL_MM * len(first):.0f} mm of the limb lie before the plain sheet.",
            where=photo.name,
            do="Move the limb to the middle of the sheet, away from the mat and the printed pages.",
        )
    return Silhouette(camera, _rays(strip, first), _rays(strip, second), photo.name)


def drawn_silhouette(polygon: Array, camera: Camera, name: str) -> Silhouette:
    """Return the silhouette of a limb round which a person drew a line (n, 2), pixels of the photograph.

    Raises
    ------
    OutlineError
        When it encloses too little to tell how the limb lies.
    """
    width, height = camera.size
    pitch = max(width, height) / _DRAWN_CELLS
    mask = np.zeros((round(height / pitch), round(width / pitch)), np.uint8)
    cells = np.clip((polygon + 0.5) / pitch - 0.5, -_DRAWN_CELLS, 2 * _DRAWN_CELLS)
    cv2.fillPoly(mask, [np.round(cells).astype(np.int32)], 1)
    edges = _levels(mask > 0, np.ones(mask.shape, bool)) if mask.any() else (np.zeros((0, 2)),) * 2
    if len(edges[0]) < _LEAST_LEVELS:
        raise OutlineError(
            "the line drawn round the limb encloses too little of it.",
            where=name,
            do="Draw it round the whole part that is measured.",
        )
    first, second = (camera.rays((edge + 0.5) * pitch - 0.5) for edge in edges)
    return Silhouette(camera, first, second, name)


def _lies(area: Area) -> bool:
    return bool(abs(_normal(area.outline)[2]) > _FLAT)


def _normal(ring: Array) -> Array:
    return np.asarray(np.linalg.svd(ring - ring.mean(axis=0))[2][2])


def _size(area: Area) -> float:
    ring = area.outline
    return float(np.linalg.norm(np.cross(ring[:-1], ring[1:]).sum(axis=0)) / 2)


def _sheet_strip(photo: Photograph, camera: Camera, area: Area) -> Strip:
    """Return the photograph seen in the plane of the sheet: a strip whose axis lies in the paper."""
    plane = _plane(area.outline, camera)
    flat = plane.inverse().apply(area.outline)[:, :2]
    low, high = flat.min(axis=0), flat.max(axis=0)
    offsets, heights = np.arange(low[0], high[0], STEP_MM), np.arange(high[1], low[1], -STEP_MM)
    empty = Strip(camera, plane, heights, offsets, np.zeros((0, 0, 3), np.uint8))
    grid = empty.photo_from_plane(*np.broadcast_arrays(offsets[None, :], heights[:, None]))
    pitch = max(1, int(np.nanmedian(np.linalg.norm(np.diff(grid, axis=1), axis=-1))))
    small = cv2.resize(photo.pixels, None, fx=1 / pitch, fy=1 / pitch, interpolation=cv2.INTER_AREA)
    pixels = np.asarray(read_between(np.asarray(small), (grid + 0.5) / pitch - 0.5), np.uint8)
    return Strip(camera, plane, heights, offsets, pixels)


def _plane(ring: Array, camera: Camera) -> Pose:
    """Return world_from_plane of a flat ring (n, 3): z to the camera, y near the world's y."""
    middle, z = ring.mean(axis=0), _normal(ring)
    z = z * np.sign(z @ (camera.centre - middle))
    y = np.array([0.0, 1.0, 0.0]) - z[1] * z
    y /= np.linalg.norm(y)
    return Pose(np.column_stack([np.cross(y, z), y, z]), middle)


def _largest(stands_out: Mask, name: str) -> Mask:
    """Return the largest thing that stands out, its holes filled."""
    cells = np.asarray(cv2.medianBlur(stands_out.astype(np.uint8), 5), np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    cells = np.asarray(cv2.morphologyEx(cells, cv2.MORPH_CLOSE, kernel), np.uint8)
    _, labels = cv2.connectedComponents(cells, connectivity=4)
    counts = np.bincount(labels.ravel())
    counts[0] = 0
    if counts.max(initial=0) * STEP_MM**2 < _LEAST_MM2:
        raise OutlineError(
            "no limb was found before the plain sheet.",
            where=name,
            do="Take the photograph from slanting above, with the limb over the middle of the sheet.",
        )
    return np.asarray(binary_fill_holes(labels == int(np.argmax(counts))), bool)


def _of_one_colour(strip: Strip, mask: Mask, sheet: Mask) -> Mask:
    """Return the part of a mask of its commonest hue: skin, without supports, sleeve and deep shadows.

    Skin of any tone is redder than grey, which tells it from sleeve and shadow of a coloured sheet.  Else a
    shadow has nearly the hue of the ``sheet`` (cells that show it); only a limb of that hue itself is left
    with its shadow.
    """
    hue = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 1.0), np.uint8))[..., 1:]
    paper = np.median(hue[sheet], axis=0) if sheet.any() else np.full(2, np.inf)
    off = np.linalg.norm(hue - paper, axis=-1)
    lit = mask & (off > _SHADOW_HUE)
    red = lit & (hue[..., 0] > _RED)
    enough = (each for each in (red, lit) if np.count_nonzero(each) * STEP_MM**2 > _LEAST_MM2)
    chosen = next(enough, mask)
    bins = np.floor(hue[chosen] / _HUE_BIN).astype(int)
    _, which, counts = np.unique(bins, axis=0, return_inverse=True, return_counts=True)
    commonest = np.median(hue[chosen][which.reshape(-1) == np.argmax(counts)], axis=0)
    own = np.linalg.norm(hue - commonest, axis=-1)
    return np.asarray(chosen & (own < _ONE_HUE) & (own < off))


def _whole(strip: Strip, thing: Mask, skin: Mask, panel: Panel) -> Mask:
    """Return all of a limb of which ``skin`` tells the part of the commonest hue: with what shines, say.

    What stands out (``thing``) in full light, brighter than that part, may be the limb's, too.
    """
    values = brightness_and_hue(strip.pixels)
    labels = np.full(skin.shape, cv2.GC_BGD, np.uint8)
    labels[panel.inside & (panel.distance2 > LIKE_SHEET)] = cv2.GC_PR_BGD
    likely = skin | thing & _in_full_light(values, skin, panel)
    labels[likely] = cv2.GC_PR_FGD
    deep = _deep(skin)
    # in much light only a rim of the palest skin keeps its hue
    labels[deep if np.count_nonzero(deep) >= LEAST_CELLS else _deep(likely)] = cv2.GC_FGD
    found = graph_cut(values, labels)
    return skin if found is None else found


def _deep(mask: Mask) -> Mask:
    """Return the cells of a mask that are well within it."""
    return np.asarray(cv2.erode(mask.astype(np.uint8), _SURELY) > 0)


def _in_full_light(values: Values, skin: Mask, panel: Panel) -> Mask:
    """Return what is brighter than most of the skin, and warmer than the sheet or brighter as well."""
    light, sheet = values[..., 0], panel.inside & (panel.distance2 < LIKE_SHEET)
    if not sheet.any():
        return np.zeros(skin.shape, bool)
    paper = np.median(values[sheet], axis=0)
    other = warmer_than(values, paper[1:]) | (light > paper[0] + SHINES)
    return np.asarray(other & (light > np.quantile(light[skin], _LIT)) & (values[..., 1] > LEAST_RED))


def _levels(mask: Mask, inside: Mask) -> tuple[Array, Array]:
    """Return the two edges (n, 2) of a mask at levels along its longest extent, (column, row) cells.

    Only levels count on which the sheet is seen beyond both edges.
    """
    row, column = np.nonzero(mask)
    points = np.stack([column, row], axis=1).astype(float)
    centre = points.mean(axis=0)
    along = np.linalg.svd(np.cov((points - centre).T))[0][:, 0]
    across = np.array([-along[1], along[0]])
    place = (points - centre) @ np.stack([along, across], axis=1)
    every = np.arange(place[:, 0].min(), place[:, 0].max(), _LEVEL_MM / STEP_MM)
    reach = np.arange(place[:, 1].min() - 10, place[:, 1].max() + 11, 0.5)
    grid = centre + every[:, None, None] * along + reach[:, None] * across
    at = np.round(grid).astype(int)
    height, width = mask.shape
    known = np.all((at >= 0) & (at < [width, height]), axis=-1)
    column, row = np.clip(at[..., 0], 0, width - 1), np.clip(at[..., 1], 0, height - 1)
    limb, sheet = mask[row, column] & known, inside[row, column] & known & ~mask[row, column]
    found = [_run(limb[k], sheet[k]) for k in range(len(every))]
    keep = np.array([run is not None for run in found])
    ends = np.array([run for run in found if run is not None], int).reshape(-1, 2)
    start = grid[keep]
    rows = np.arange(len(ends))
    return start[rows, ends[:, 0]], start[rows, ends[:, 1]]


def _run(limb: Mask, sheet: Mask) -> tuple[int, int] | None:
    """Return the ends of the longest run of limb on one level, None where the sheet is not on both sides."""
    edges = true_runs(limb)
    if not len(edges):
        return None
    first, last = edges[np.argmax(edges[:, 1] - edges[:, 0])]
    beyond = 2 * _PLAIN_BESIDE
    if first < beyond or last + beyond > len(limb) or (last - first) * STEP_MM / 2 < _LEAST_WIDTH_MM:
        return None
    beside = sheet[first - beyond : first].mean() > 0.5 and sheet[last : last + beyond].mean() > 0.5
    return (int(first), int(last) - 1) if beside else None


def _rays(strip: Strip, cells: NDArray[np.float64]) -> Array:
    """Return unit rays (n, 3) from the camera through cells (n, 2) of the strip."""
    plane = np.stack(
        [strip.offsets[0] + STEP_MM * cells[:, 0], strip.heights[0] - STEP_MM * cells[:, 1], 0 * cells[:, 0]],
        axis=1,
    )
    rays = strip.world_from_plane.apply(plane) - strip.camera.centre
    return np.asarray(rays / np.linalg.norm(rays, axis=1, keepdims=True))
