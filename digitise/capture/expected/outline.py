"""The outline of a bare foot or hand in a photograph, found near to where it is expected.

Skin and surroundings are told apart by colour with graph cuts (Rother, Kolmogorov and Blake 2004, "GrabCut",
as OpenCV has it), from what is surely body and surely not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.expected.contour import contour, differs, just_inside, on_half_light, on_half_mask
from digitise.capture.expected.crop import Crop, Mask, crop_round
from digitise.capture.expected.print_lines import Print, along_print, with_beside
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.photograph import linear_light
from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.geometry.view import Edge

_MARGIN_MM = 55.0  # of surroundings beyond the slack
# Of surroundings that the graph cuts learn from and cut: what they cost grows with the picture.
_CUT_MARGIN_MM = 25.0
_INNER = 0.7  # of the slack: skin so far within the expected outline is surely skin
_LIMB_NEAR_MM = 6.0
_STEP_MM = 3.6
_LIMIT_MM = 2.0  # so near to the end of the slack nothing was found, the slack decided
_SD_PX = 0.5
_INSIDE_MM = 8.0  # hues are taken so far from any edge
_LEAST_PIXELS = 500
INK_LIGHT = 0.02
"""Of full light: ink in a shadow is darker, and takes on the hue of what is beside it; dark skin is not."""
# From log brightness and hue to a byte.  Hue tells skin from paper and ink, brightness light from shade:
# with both weighed alike, a tenth of a rendered hand's surroundings was taken for skin, so 0.6 %.
_LIGHT_SCALE, _HUE_SCALE, _LIGHT_OFFSET, _MIDDLE = 24.0, 110.0, 144.0, 128.0
# Hues are spread until skin and what is beside it lie so far apart, in bytes: pale skin in full light is off
# the paper's hue by 0.1 only, and its parts in light and shade were sorted with the paper's.
_APART, _MOST_HUE_SCALE = 45.0, 330.0


@dataclass(frozen=True, eq=False)
class BodyOutline:
    """The outline of a foot or hand in one photograph.

    Attributes
    ----------
    edge
        Points round it, in the photograph's pixels; unseen where the limb, the picture's border or the end of
        the search decides.
    crop
        The part of the photograph that was looked at.
    hue_off
        How far its hue is from the limb's, in log units; NaN where the limb is not seen beside it.
    """

    edge: Edge
    crop: Crop
    hue_off: float


@dataclass(frozen=True)
class Look:
    """How to look for an outline; mm.

    Attributes
    ----------
    slack_mm
        How far the outline may lie from where it is expected.
    step_mm
        How finely to look.
    gap_mm
        Half of what gaps are closed, as between toes and under the arch.
    limb_mm
        So far inside of it the limb is surely where it is told to be.
    cuts
        Rounds of the graph cuts.
    """

    slack_mm: float
    step_mm: float
    gap_mm: float = 5.0
    limb_mm: float = 4.0
    cuts: int = 3


def find_body(
    pixels: NDArray[np.uint8],
    camera: Camera,
    body: Mesh,
    limb: Mesh,
    look: Look,
    printed: Print | None = None,
) -> BodyOutline | None:
    """Find the outline of a bare foot or hand.

    Parameters
    ----------
    pixels
        (H, W, 3) uint8 RGB photograph.
    camera
        Its camera.
    body
        Where the foot or hand is expected.
    limb
        The leg or forearm that it belongs to.
    look
        How to look.
    printed
        The print of the sheets behind it.

    Returns
    -------
    None where it is not in the picture.
    """
    crop = crop_round(pixels, camera, body, look.slack_mm + _MARGIN_MM, look.step_mm)
    if crop is None:
        return None
    expected, above = crop.drawn(body), crop.drawn(limb)
    near = _grown(expected | above, crop.disc(look.slack_mm))
    skin = _told_apart(crop, expected, above, near, look)
    if skin is None:
        return None
    whole = _one_body(_closed(skin, crop.disc(look.gap_mm)), expected)
    if whole is None:
        return None
    edge = _edge(crop, whole, skin, above, near)
    if printed is not None:
        mm = crop.mm / crop.shrink
        wrong = along_print(edge.points, edge.normals, camera, printed, mm) & _paper_within(
            crop, edge, whole, _on_pages(crop, printed) & ~near
        )
        seen = edge.seen & ~with_beside(wrong)
        edge = replace(edge, sure=seen, seen=seen.copy())
    return BodyOutline(edge, crop, _hue_off(crop, whole & ~above, above))


def _told_apart(crop: Crop, expected: Mask, above: Mask, near: Mask, look: Look) -> Mask | None:
    """Return what is skin (H, W); None where nothing of the body or nothing beside it is in the picture."""
    if not near.any():
        return None
    labels = np.where(near, cv2.GC_PR_BGD, cv2.GC_BGD).astype(np.uint8)
    labels[expected] = cv2.GC_PR_FGD
    labels[_shrunk(expected, crop.disc(_INNER * look.slack_mm))] = cv2.GC_FGD
    labels[_shrunk(above, crop.disc(look.limb_mm))] = cv2.GC_FGD
    part = _window(near, round(_CUT_MARGIN_MM / crop.mm))
    own = np.ascontiguousarray(labels[part])
    if not np.any(own == cv2.GC_BGD) or not np.any(own == cv2.GC_FGD):
        return None
    cv2.setRNGSeed(0)  # the cuts begin with random clusters: the same picture gives the same edge
    skin, other, everywhere = np.zeros((1, 65)), np.zeros((1, 65)), (0, 0, 0, 0)
    colours = np.ascontiguousarray(_colours(crop, labels)[part])
    cv2.grabCut(colours, own, everywhere, other, skin, look.cuts, cv2.GC_INIT_WITH_MASK)
    labels[part] = own
    return np.asarray((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD))


def _window(mask: Mask, margin: int) -> tuple[slice, slice]:
    """Return the rows and columns that hold a mask and so many cells beside it."""
    ends = [np.flatnonzero(mask.any(axis=axis))[[0, -1]] for axis in (1, 0)]
    rows, columns = (slice(max(0, int(low) - margin), int(high) + 1 + margin) for low, high in ends)
    return rows, columns


def _hue_off(crop: Crop, body: Mask, limb: Mask) -> float:
    inner = crop.disc(_INSIDE_MM)
    parts = [_shrunk(part, inner) for part in (body, limb)]
    if min(np.count_nonzero(part) for part in parts) < _LEAST_PIXELS:
        return float("nan")
    values = brightness_and_hue(crop.pixels)
    own, other = (np.median(values[part], axis=0)[1:] for part in parts)
    return float(np.linalg.norm(own - other))


def _colours(crop: Crop, labels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return brightness and hue of a crop (H, W, 3), whose steps are as large in the shade as in the light.

    Dark skin and black ink differ in hue alone, and in a photograph's own numbers hue dwindles with
    brightness.

    Parameters
    ----------
    crop
        The part of the photograph.
    labels
        (H, W) what is surely body and what surely not, as the graph cuts name them.
    """
    values = brightness_and_hue(crop.pixels, INK_LIGHT)
    skin, beside = (np.median(values[labels == each, 1:], axis=0) for each in (cv2.GC_FGD, cv2.GC_BGD))
    apart = max(float(np.linalg.norm(skin - beside)), 1e-3)
    scale = np.clip(_APART / apart, _HUE_SCALE, _MOST_HUE_SCALE)
    light = values[..., :1] * _LIGHT_SCALE + _LIGHT_OFFSET
    hue = (values[..., 1:] - beside) * scale + _MIDDLE
    return np.asarray(np.clip(np.concatenate([light, hue], axis=-1), 0, 255), np.uint8)


def _grown(mask: Mask, element: NDArray[np.uint8]) -> Mask:
    return np.asarray(cv2.dilate(mask.astype(np.uint8), element) > 0)


def _shrunk(mask: Mask, element: NDArray[np.uint8]) -> Mask:
    return np.asarray(cv2.erode(mask.astype(np.uint8), element) > 0)


def _closed(mask: Mask, element: NDArray[np.uint8]) -> Mask:
    return np.asarray(cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, element) > 0)


def _one_body(mask: Mask, expected: Mask) -> Mask | None:
    """Return the connected part of a mask that holds most of what is expected."""
    _, labels = cv2.connectedComponents(mask.astype(np.uint8))
    inside = labels[expected & mask]
    if not len(inside):
        return None
    return np.asarray(labels == np.bincount(inside).argmax())


def _edge(crop: Crop, whole: Mask, skin: Mask, above: Mask, near: Mask) -> Edge:
    line, normals = contour(whole, crop.mm)
    line = on_half_mask(line, normals, whole, crop.mm)
    chosen = np.arange(0, len(line), max(1, round(_STEP_MM / crop.mm)))
    line, normals = line[chosen], normals[chosen]
    line = on_half_light(line, normals, linear_light(crop.pixels), crop.mm)
    filled = _grown(whole & ~skin, crop.disc(_LIMIT_MM))
    limit = _grown(~near, crop.disc(_LIMIT_MM)) | _grown(above, crop.disc(_LIMB_NEAR_MM)) | _border(crop)
    seen = ~_at(limit | filled, line) & differs(line, normals, brightness_and_hue(crop.pixels), crop.mm)
    return Edge(crop.to_photo(line), normals, np.full(len(line), _SD_PX * crop.shrink), seen.copy(), seen)


def _on_pages(crop: Crop, printed: Print) -> Mask:
    """Return which cells (H, W) show a page, or what lies on it."""
    cells = np.zeros(crop.pixels.shape[:2], np.uint8)
    for ring in crop.from_photo(crop.camera.project(printed.pages)):
        if np.isfinite(ring).all():
            cv2.fillConvexPoly(cells, np.round(np.clip(ring, -9999, 9999)).astype(np.int32), 1)
    return np.asarray(cells > 0)


def _paper_within(crop: Crop, edge: Edge, whole: Mask, page: Mask) -> NDArray[np.bool_]:
    """Return at which points (N,) of an edge its inside has rather the hue of paper and ink than the skin's.

    Parameters
    ----------
    whole, page
        (H, W) what was taken for the body, and what is surely not and of a page.
    """
    values = brightness_and_hue(crop.pixels, INK_LIGHT)
    skin = _shrunk(whole, crop.disc(_INSIDE_MM))
    if min(np.count_nonzero(skin), np.count_nonzero(page)) < _LEAST_PIXELS:
        return np.ones(len(edge.points), bool)
    bright = page & (values[..., 0] > np.median(values[page, 0]))
    paper, own = (np.median(values[part, 1:], axis=0) for part in (bright, skin))
    inside = just_inside(crop.from_photo(edge.points), edge.normals, values, crop.mm)[:, 1:]
    away = own - paper
    return np.asarray((inside - paper) @ away < 0.5 * (away @ away))


def _border(crop: Crop) -> Mask:
    border = np.ones(crop.pixels.shape[:2], bool)
    border[4:-4, 4:-4] = False
    return border


def _at(mask: Mask, line: Array) -> Mask:
    column, row = np.round(line).astype(int).T
    rows, columns = mask.shape
    return np.asarray(mask[np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)])
