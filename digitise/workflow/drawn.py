"""Outlines that a person draws: found one photograph at a time, and where a drawn limb begins and ends."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import cv2
import numpy as np

from digitise.anatomy import LimbKind
from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.outline.by_steps.widths import Widths
from digitise.capture.outline.correction import Correction
from digitise.capture.outline.find import Outline, find_outline, find_outline_of_width
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.capture.surroundings.scene import placed_boards
from digitise.errors import OutlineError, UnseenError
from digitise.geometry.camera import looks_along
from digitise.geometry.rigid import Array, Pose

_ON_LINE_PX = 2.0  # an edge that lies where it was drawn is rounded to less than this


def outline_or_reason(
    photo: Photograph,
    number: int,
    calibration: Calibration,
    field: MarkerField,
    axis_from_world: Pose,
    correction: Correction | None,
    limb: LimbKind = LimbKind.LEG,
) -> Outline | OutlineError:
    """Return the outline of one photograph, or why there is none, so that the others can still be shown.

    Parameters
    ----------
    photo, number
        The photograph and its place (from 0) among those that were calibrated.
    calibration
        The solved cameras.
    field
        The sheets.
    axis_from_world
        Frame of the limb's axis.
    correction
        What a person drew on it.
    limb
        Which limb it is.

    Returns
    -------
    For a photograph taken along the limb always a reason: from there no line, drawn or found, shows its
    sides.
    """
    if looks_along(calibration.cameras[number], axis_from_world):
        return _along(photo)
    boards = placed_boards(calibration, field, number)
    try:
        return find_outline(photo, calibration.cameras[number], boards, axis_from_world, correction, limb)
    except OutlineError as error:
        return error


def outline_of_width(
    photo: Photograph,
    number: int,
    calibration: Calibration,
    field: MarkerField,
    axis_from_world: Pose,
    widths: Widths,
    limb: LimbKind,
) -> Outline | OutlineError:
    """Return the outline of a limb that is about so wide, or why there is none."""
    camera = calibration.cameras[number]
    if looks_along(camera, axis_from_world):
        return _along(photo)
    boards = placed_boards(calibration, field, number)
    try:
        return find_outline_of_width(photo, camera, boards, axis_from_world, widths, limb)
    except OutlineError as error:
        return error


def _along(photo: Photograph) -> UnseenError:
    return UnseenError(
        "it looks along the limb, as from above the foot, and does not show its sides.",
        where=photo.name,
        do="Take it from the side, with the phone at knee height.",
    )


def lines_round(photos: Sequence[Photograph], drawn: Mapping[str, Correction]) -> list[Array | None]:
    """Return the line (n, 2) px that was drawn round the limb in each photograph, None where none was."""
    found = [drawn_on(photo, drawn) for photo in photos]
    return [None if each is None else each.polygon for each in found]


def drawn_on(photo: Photograph, drawn: Mapping[str, Correction]) -> Correction | None:
    """Return what was drawn on a photograph, by its file name or by its sha256; None where nothing was."""
    return drawn.get(photo.name, drawn.get(photo.sha256))


def drawn_bounds(
    outlines: Iterable[Outline], corrections: Sequence[Correction | None]
) -> tuple[float, float] | None:
    """Return between which heights a limb was drawn all round, mm; None where none was.

    A line drawn round the limb says what is to be measured: what lies beyond its ends, such as a hand, is
    not.  With lines in several photographs, what all of them hold counts.

    Parameters
    ----------
    outlines, corrections
        One per photograph, in the same order.
    """
    ends = [
        _ends(outline, correction.polygon)
        for outline, correction in zip(outlines, corrections, strict=True)
        if correction is not None and correction.polygon is not None
    ]
    found = [end for end in ends if end is not None]
    if not found:
        return None
    low, high = max(low for low, _ in found), min(high for _, high in found)
    return (low, high) if low < high else None


def _ends(outline: Outline, polygon: Array) -> tuple[float, float] | None:
    """Return the heights between which both edges lie on a polygon (n, 2) px."""
    line = polygon.astype(np.float32)
    spans = []
    for edge, heights in zip(outline.edges, outline.heights, strict=True):
        on = [
            abs(cv2.pointPolygonTest(line, (float(x), float(y)), True)) < _ON_LINE_PX for x, y in edge.points
        ]
        if not any(on):
            return None
        spans.append((float(heights[on].min()), float(heights[on].max())))
    return max(low for low, _ in spans), min(high for _, high in spans)
