"""What hides an edge of the limb, in words for a person."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_propagation, maximum_filter1d

from digitise.capture.outline.region import FOOT_TOP_MM, Region
from digitise.capture.outline.result import Outline
from digitise.capture.outline.sub_pixel.edge import PASSES
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.foothold import NearMat
from digitise.capture.surroundings.sticks import InFront
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.geometry.view import Edge

BEFORE = "something that stands before the limb"
LEG_BEFORE = "the other leg or something else that crosses before it"
SKIN = "the other leg or a hand"
OTHER = "something beside the limb"
CLOTH = "cloth or a bandage round the limb"
SUPPORT = "a support under the limb"
_ANKLE_MM = (80.0, 160.0)
_WITHIN_MM = 8.0  # of a body's edges
_NEIGHBOUR_MM = 60.0  # of a body beside the limb
_GAP_MM = 80.0  # between rows on which an edge is behind a stick
_BESIDE_MM = np.array([6.0, 10.0, 14.0])
_BURNT = 240  # of 255, in every channel: the tone curve's shoulder shows no shade any more
_BURNT_MM = 100.0  # so far beyond where it was lost
_OWN_PX, _INNER_MM = 4.0, 22.0  # within an edge, from its own blur on
_SHORT_MM, _BESIDE_LOST_MM = 60.0, 10.0  # half of what is lost beyond a jump
# What was taken for a stick is the limb's own gloss, or shade, where it lies on the limb along most of its
# length: its lines are straight, a limb's but nearly.
_STICK_OFF_MM, _STICK_WITHIN = 10.0, 0.75
_ALIKE = 0.25  # log units of hue: skin of one person


def hiding(
    strip: Strip, region: Region, mat: NearMat, index: int, hidden: NDArray[np.bool_]
) -> NDArray[np.str_]:
    """Tell for each row of a region what hides one of its boundaries.

    Parameters
    ----------
    strip, region
        The photograph's strip and the limb in it.
    mat
        What is seen of the mat before the limb's foot.
    index
        0 for the left boundary, 1 for the right.
    hidden
        (n,) True where that boundary is not seen.

    Returns
    -------
    (n,) words, empty where the boundary is seen.
    """
    outward = (-1, 1)[index]
    ankle = (strip.heights[region.rows] > _ANKLE_MM[0]) & (strip.heights[region.rows] < _ANKLE_MM[1])
    if not ankle.any():
        ankle[-1:] = True
    foot = [float(np.median(side[ankle])) for side in (region.left, region.right)]
    if mat.is_covered(foot[0] + _WITHIN_MM, foot[1] - _WITHIN_MM):
        return np.full(len(region.rows), BEFORE)
    beyond = sorted((foot[index], foot[index] + outward * _NEIGHBOUR_MM))
    before = region.touched[index] & mat.is_covered(beyond[0], beyond[1])
    skin = _skin_beyond(strip, region, index)
    words = np.where(hidden, np.where(skin, SKIN, SUPPORT if strip.lies else OTHER), "")
    words = np.where(before, BEFORE, words)
    return np.where(region.before[index], LEG_BEFORE, words)


def lost_in_light(
    pixels: NDArray[np.uint8], edge: Edge, lost: NDArray[np.bool_], pixel_mm: float
) -> NDArray[np.bool_]:
    """Tell where an edge (n,) that was lost goes on through skin too bright to show an end of the limb.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    edge, lost
        (n,) points, and where they are surely not the limb's.
    pixel_mm
        Size of a pixel at the limb, mm.
    """
    steps = int(_BURNT_MM / STEP_MM)
    near = maximum_filter1d(lost, 2 * steps + 1, mode="constant")
    if not near.any():
        return near
    depth = np.arange(_OWN_PX, _INNER_MM / pixel_mm, 2.0)
    at = np.round(edge.points[:, None] - depth[:, None] * edge.normals[:, None]).astype(int)
    size = np.array(pixels.shape[1::-1]) - 1
    column, row = np.moveaxis(np.clip(at, 0, size), -1, 0)
    burnt = np.quantile(pixels[row, column].min(axis=2), 0.25, axis=1) > _BURNT
    runs = binary_propagation(lost, mask=(burnt & near) | lost)
    return np.asarray(runs & ~lost)


def short_beside(sure: NDArray[np.bool_], lost: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell which sure points (n,) make a short run beside a stretch (n,) that jumped to another body.

    So short a run begins or ends where the edge was lost: it is that body's as likely as the limb's.
    """
    near = maximum_filter1d(lost, 2 * int(_BESIDE_LOST_MM / STEP_MM) + 1, mode="constant")
    found = np.zeros(len(sure), bool)
    for first, last in true_runs(sure):
        found[first:last] = (last - first) * STEP_MM < _SHORT_MM and near[first:last].any()
    return found


def _skin_beyond(strip: Strip, region: Region, index: int) -> NDArray[np.bool_]:
    """Tell on which rows the colour beyond a boundary is that of the limb within."""
    outward = (-1, 1)[index]
    edge = (region.left, region.right)[index]
    hues = []
    for way in (outward, -outward):
        columns = np.round((edge[:, None] + way * _BESIDE_MM - strip.offsets[0]) / STEP_MM).astype(int)
        columns = np.clip(columns, 0, len(strip.offsets) - 1)
        hues.append(brightness_and_hue(strip.pixels[region.rows[:, None], columns])[..., 1:].mean(axis=1))
    return np.asarray(np.linalg.norm(hues[0] - hues[1], axis=1) < _ALIKE)


def holds_sticks(outline: Outline, strip: Strip, front: InFront) -> bool:
    """Tell whether all that was taken for sticks lies within an outline that was found without them.

    Those are lines of the limb's own.  What a stick after all would show beyond the limb is found as a second
    edge within the outline's.
    """
    heights = outline.heights[0]
    first, last = (strip.plane_from_photo(edge.points)[:, 0] for edge in outline.edges)
    for stick in front.sticks:
        left, right = stick.sides(heights)
        rows = np.isfinite(left) & (heights > FOOT_TOP_MM)
        within = (left > first - _STICK_OFF_MM) & (right < last + _STICK_OFF_MM)
        if not rows.any() or within[rows].mean() < _STICK_WITHIN:
            return False
    return True


def before_it(strip: Strip, edge: Edge, heights: Array, front: InFront) -> NDArray[np.bool_]:
    """Tell on which rows (n,) something stands before an edge, so that what was found is not the limb's.

    Points that are sure are the limb's, beside a stick as well, but for those next to one that is not: there
    the line may still pass from the stick's edge to the limb's.
    """
    hidden = _nearly(front.hides(strip, edge.points, heights))
    gap = np.ones((int(_GAP_MM / STEP_MM), 1), np.uint8)
    closed = cv2.morphologyEx(hidden.astype(np.uint8)[:, None], cv2.MORPH_CLOSE, gap)[:, 0] > 0
    return np.asarray(closed & _nearly(~edge.sure))


def _nearly(flags: NDArray[np.bool_]) -> NDArray[np.bool_]:
    return np.asarray(maximum_filter1d(flags, 2 * PASSES + 1))
