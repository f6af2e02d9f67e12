"""The limb followed up the backdrop from its foot: a first guess of which cells are limb."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.outline.bodies import standing
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask
from digitise.errors import OutlineError
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs

STANDS_OUT = 20.0  # squared distance from the backdrop's colour that makes a cell a candidate
_TUBE_MM = 150.0  # the limb stands on the mat's middle: near its foot it is within this of the axis
_TUBE_HEIGHT_MM = 350.0
_LEAST_WIDTH_MM = 25.0  # of a thin wrist seen from the side
_SLIVER = 0.75  # of the width a little higher: less is a limb cut slantwise by the panel's lower edge
_SLANT_MM = 60.0  # by so much a panel's lower edge may slant across two legs
_LEAN_MM = 30.0  # a shin leans by less between the ankle and the panel's lower edge
_WIDTH_JUMP = 1.3  # a limb does not widen faster than this over _JUMP_MM; two touching limbs do
_JUMP_MM = 20.0


def track(
    strip: Strip, panel: Panel, name: str
) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Follow the limb up the panel from its foot: rows and first and last column in each."""
    if not panel.inside.any():
        raise OutlineError(
            "no plain backdrop was found behind the limb.",
            where=name,
            do="Stand a marked backdrop behind the limb so that its markers frame it in the picture.",
        )
    blob = _foot_component(strip, panel, name)
    place = (np.array(standing(strip)) - strip.offsets[0]) / STEP_MM
    row, run = _lowest_run(blob & _tube(strip), blob, place)
    found = []
    while run is not None:
        found.append((row, *run))
        row -= 1
        run = _following_run(blob[row], found) if row >= 0 else None
    if len(found) * STEP_MM < 2 * _JUMP_MM:
        raise no_limb(name)
    rows, left, right = np.array(found[::-1]).T
    return rows.astype(np.intp), left.astype(np.intp), right.astype(np.intp)


def _tube(strip: Strip) -> Mask:
    return (np.abs(strip.offsets) < _TUBE_MM)[None, :] & (strip.heights > 0)[:, None]


def no_limb(name: str) -> OutlineError:
    """Return the error that says that no limb is seen in the photograph ``name``."""
    return OutlineError(
        "no limb was found standing on the mat before the backdrop.",
        where=name,
        do="Retake it with the foot in the middle of the mat and plain backdrop behind the whole limb.",
    )


def _foot_component(strip: Strip, panel: Panel, name: str) -> Mask:
    stands_out = (panel.inside & (panel.distance2 > STANDS_OUT)).astype(np.uint8)
    if panel.before.any():
        stands_out = _carried_behind(stands_out, panel.before)
    stands_out = np.asarray(cv2.medianBlur(stands_out, 5), np.uint8)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (7, 7))
    stands_out = np.asarray(cv2.morphologyEx(stands_out, cv2.MORPH_CLOSE, kernel), np.uint8)
    _, labels = cv2.connectedComponents(stands_out, connectivity=4)
    lowest = strip.heights[np.flatnonzero(panel.inside.any(axis=1))[-1]]
    foot = _tube(strip) & (strip.heights < lowest + _TUBE_HEIGHT_MM)[:, None]
    counts = np.bincount(labels[foot])
    counts[0] = 0
    if counts.max(initial=0) * STEP_MM**2 < _LEAST_WIDTH_MM**2:
        raise no_limb(name)
    return np.asarray(labels == int(np.argmax(counts)))


def _carried_behind(stands_out: NDArray[np.uint8], before: Mask) -> NDArray[np.uint8]:
    """Take what stands before the limb for limb where limb is seen on both sides of it, else for nothing."""
    seen = np.where(before, 0, stands_out).astype(np.uint8)
    width = int(before.sum(axis=1).max()) + 3
    across = np.asarray(cv2.morphologyEx(seen, cv2.MORPH_CLOSE, np.ones((1, width), np.uint8)), np.uint8)
    return np.asarray(np.where(before, across, seen), np.uint8)


def _wide_runs(row: Mask) -> NDArray[np.int64]:
    """Return (n, 2) first and last column of each run of True wide enough to be a limb."""
    found = true_runs(row) - [0, 1]
    return np.asarray(found[(found[:, 1] - found[:, 0]) * STEP_MM >= _LEAST_WIDTH_MM], np.int64)


def _lowest_run(foot: Mask, blob: Mask, place: Array) -> tuple[int, tuple[int, int] | None]:
    """Return the lowest row that shows the limb near its foot, and the run nearest to where it stands.

    Where the panel's lower edge slants, its lowest rows may show another leg alone: of the runs that stand at
    the limb's ``place`` (2,), columns, on these rows the nearest to its middle goes before those beside it.
    """
    higher, lean = int(_JUMP_MM / STEP_MM), _LEAN_MM / STEP_MM
    lowest: tuple[int, tuple[int, int] | None] = 0, None
    at_place: list[tuple[int, tuple[int, int]]] = []
    for row in np.flatnonzero(foot.any(axis=1))[::-1]:
        if at_place and at_place[0][0] - row > _SLANT_MM / STEP_MM:
            break
        runs, above = _wide_runs(blob[row]), _wide_runs(blob[max(row - higher, 0)])
        if not len(runs) or not len(above):
            continue
        first, last = runs[np.argmin(np.abs(runs.mean(axis=1) - place.mean()))]
        next_first, next_last = above[np.argmin(np.abs(above.mean(axis=1) - (first + last) / 2))]
        if last - first < _SLIVER * (next_last - next_first):
            continue
        found = int(row), (int(first), int(last))
        if last >= place[0] - lean and first <= place[1] + lean:
            at_place.append(found)
        lowest = lowest if lowest[1] else found
    return _nearest(at_place, float(place.mean())) if at_place else lowest


def _nearest(found: list[tuple[int, tuple[int, int]]], middle: float) -> tuple[int, tuple[int, int]]:
    """Return the first of the rows and their runs that is one with the run nearest to a column."""
    _, (first, last) = min(found, key=lambda each: abs((each[1][0] + each[1][1]) / 2 - middle))
    return next(each for each in found if each[1][1] >= first and each[1][0] <= last)


def _following_run(row: Mask, found: list[tuple[int, int, int]]) -> tuple[int, int] | None:
    """Return the run that continues the limb one row up, cut back where another body touches it."""
    _, first, last = found[-1]
    runs = _wide_runs(row)
    if not len(runs):
        return None
    overlap = np.minimum(runs[:, 1], last) - np.maximum(runs[:, 0], first)
    best = int(np.argmax(overlap))
    if overlap[best] <= 0:
        return None
    _, back_first, back_last = found[-min(len(found), int(_JUMP_MM / STEP_MM))]
    new_first, new_last = (int(v) for v in runs[best])
    if new_last - new_first > _WIDTH_JUMP * (back_last - back_first):
        room = int(0.1 * (last - first)) + 1
        new_first = max(new_first, back_first - room) if new_first < back_first - room else new_first
        new_last = min(new_last, back_last + room) if new_last > back_last + room else new_last
    return new_first, new_last
