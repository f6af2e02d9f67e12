"""Printed paper as a backdrop: white and black of one hue, whatever the print shows.

Skin, cloth and wood differ from paper and ink in hue. Brightness tells only of what is brighter than paper:
a few millimetres' error of a page's place would turn its white into black.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
import shapely

from digitise.capture.photo.colour import over_channels
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.scene import one_plane
from digitise.capture.surroundings.sheet_colour import LEAST_SD, Mask, Values, fit_sheet, smooth_fit
from digitise.geometry.rigid import Array, Pose

Placed = tuple[Board, Pose]

_FULL = 0.3  # of a sheet's area: markers that fill a page; those of a whole panel stand round its rim
_WHITE, _QUIET = 0.1, 0.3  # of a marker's side: its white zone is at least, at most so wide
_OFF_MM = 4.0  # a page lies that far from where its markers say, or a marker's border is blurred
_LEAST_WHITE = 250  # cells, 10 cm2
_INK = 1.0  # log units between paper and ink, glare included; shading of skin stays far below
_BESIDE_INK_MM = 14.0
_LIKE_PAPER = np.array([0.4, 0.08, 0.08])  # log units about one quadratic over all pages of a panel
_IN_SHADE = (-1.2, 0.4)  # log units, of a page's white off the quadratic
_LIGHTEST = 0.7  # of what may be white: the rest may be a limb before the page
_SHADE_HUE = 0.15  # the palest skin is further off paper
_HUE_SD = 0.02  # paper and ink reflect the room a little differently
_DARK_NOISE = 0.002  # of full light: what hue is unsure by in the dark
_BRIGHTNESS_SD = 0.1
_CLIP = 400.0


@dataclass(frozen=True)
class Print:
    """Printed paper as seen in a strip.

    Attributes
    ----------
    paper
        (H, W) True on paper, or the limb before it.
    border
        (H, W) True where either paper or the panel beside it may be.
    distance2
        (H, W) squared distance from the colours of paper and ink in their standard deviations, on either.
    """

    paper: Mask
    border: Mask
    distance2: Values


def find_print(strip: Strip, values: Values, boards: Iterable[Placed], core: Mask) -> Print:
    """Measure how far every cell on printed paper is from the colours of paper and ink.

    Parameters
    ----------
    strip
        The photograph's strip.
    values
        (H, W, 3) its brightness and hues.
    boards
        Sheets that stand behind the limb with their poses world_from_board.
    core
        (H, W) the limb's own place, where paper is least likely seen.
    """
    paper, border = np.zeros(core.shape, bool), np.zeros(core.shape, bool)
    distance2 = np.zeros(core.shape, np.float32)
    for panel in _panels(boards, strip):
        surely, perhaps, markers = (_filled(strip, quads, core.shape) for quads in _quads(panel))
        white = surely & ~grown(markers) & _near_ink(values[..., 0], markers)
        if np.count_nonzero(white & ~core) < _LEAST_WHITE:
            continue
        here = perhaps & ~paper & ~border
        pages = [_filled(strip, _quads([placed])[1], core.shape) for placed in panel if is_page(placed[0])]
        distance2[here] = _distance2(values, white, core, pages)[here]
        paper |= here & surely
        border |= here & ~surely
    return Print(paper, border, distance2)


def _panels(boards: Iterable[Placed], strip: Strip) -> list[list[Placed]]:
    """Gather the sheets that face the camera by the panel they are stuck to: one light falls on them."""
    groups: list[list[Placed]] = []
    for board, pose in boards:
        if pose.rotation[:, 2] @ (strip.camera.centre - pose.translation) <= 0:
            continue
        group = next((each for each in groups if one_plane(each[0][1], pose)), None)
        if group is None:
            groups.append(group := [])
        group.append((board, pose))
    return groups


def _quads(panel: list[Placed]) -> tuple[list[Array], list[Array], list[Array]]:
    """Return the outlines in the world of what surely and perhaps is paper, and of markers, each (4, 3)."""
    surely, perhaps, markers = [], [], []
    for board, pose in panel:
        if is_page(board):
            around = np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
            surely.append(_lifted(pose, around * (board.size / 2.0 - _OFF_MM)))
            perhaps.append(_lifted(pose, around * (board.size / 2.0 + _OFF_MM)))
        else:
            surely += [_lifted(pose, _widened(quad, _WHITE)) for quad in board.corners]
            perhaps += [_lifted(pose, _widened(quad, _QUIET)) for quad in board.corners]
        markers += [_lifted(pose, quad) for quad in board.corners]
    return surely, perhaps, markers


def is_page(board: Board) -> bool:
    """Tell a page full of markers, beyond which a panel is plain, from a panel with markers round it."""
    squares = shapely.area(shapely.polygons(board.corners)).sum()
    return bool(squares >= _FULL * board.size[0] * board.size[1])


def _widened(quad: Array, share: float) -> Array:
    middle = quad.mean(axis=0)
    return np.asarray(middle + (1.0 + 2.0 * share) * (quad - middle))


def _lifted(pose: Pose, quad: Array) -> Array:
    return np.asarray(pose.apply(np.concatenate([quad, np.zeros((4, 1))], axis=1)))


def _filled(strip: Strip, quads: list[Array], shape: tuple[int, ...]) -> Mask:
    layer = np.zeros(shape, np.uint8)
    for cells in strip.outlines(np.reshape(quads, (-1, 4, 3))):
        cv2.fillConvexPoly(layer, cells, 1)
    return np.asarray(layer > 0)


def grown(mask: Mask) -> Mask:
    """Return a mask with all that lies within a page's uncertain border of it."""
    size = 1 + 2 * round(_OFF_MM / STEP_MM)
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((size, size), np.uint8)) > 0)


def _near_ink(brightness: Values, markers: Mask) -> Mask:
    """Tell which cells lie beside print that is seen: where the limb hides it, what is white is skin."""
    window = np.ones((5, 5), np.uint8)
    contrast = cv2.dilate(brightness, window) - cv2.erode(brightness, window)
    size = 1 + 2 * round(_BESIDE_INK_MM / STEP_MM)
    ink = (markers & (contrast > _INK)).astype(np.uint8)
    return np.asarray(cv2.dilate(ink, np.ones((size, size), np.uint8)) > 0)


def _distance2(values: Values, white: Mask, core: Mask, pages: list[Mask]) -> Values:
    rough, _ = fit_sheet(values, white, np.zeros_like(white), core & white)
    # a page in a corner's shade is darker than its panel's course of light tells, and takes on hue
    seen = white & ~core
    lightest = _lightest(values[seen], values[seen]) if pages else np.zeros(3)
    for page in pages:
        own = page & seen
        if np.count_nonzero(own) < _LEAST_WHITE:
            continue
        off = _lightest(values[own], values[own]) - lightest
        if _IN_SHADE[0] < off[0] < _IN_SHADE[1] and np.abs(off[1:]).max() < _SHADE_HUE:
            rough[page] += _lightest(values[own], values[own] - rough[own])
    plain = white & np.all(np.abs(values - rough) < _LIKE_PAPER, axis=-1)
    off = values - smooth_fit(values, plain, rough)
    sd = np.hypot(LEAST_SD[1:] + _HUE_SD, (_DARK_NOISE * np.exp(-values[..., :1])))
    hue2 = over_channels(np.square(off[..., 1:] / sd))
    brighter = np.maximum(off[..., 0], 0.0) / _BRIGHTNESS_SD
    return np.asarray(np.minimum(hue2 + brighter**2, _CLIP), np.float32)


def _lightest(values: Values, wanted: Values) -> Values:
    """Return the median (3,) of what is wanted (n, 3) of those cells (n, 3) that are the lightest."""
    light = values[:, 0] >= np.quantile(values[:, 0], _LIGHTEST)
    return np.asarray(np.median(wanted[light], axis=0), np.float32)
