"""Corrections that a person draws on a photograph, kept beside it and used again.

The file is JSON, all points in pixels of the upright photograph, pixel centres on integers::

    {"format": "outline-correction/1",
     "photo_sha256": "...",
     "edges":   [{"side": "left", "points": [[x, y], ...]}],
     "polygon": [[x, y], ...],
     "strokes": [{"kind": "limb", "width_px": 40, "points": [[x, y], ...]}]}

An edge is a line drawn along the limb's true edge: between its ends it replaces the automatic edge.  A
polygon round (a part of) the limb replaces both edges between its lowest and highest point.  A stroke says
that what it covers is limb, or background; the edge is then found anew.  What lies in the polygon, or between
two drawn edges, is limb as well, so that a limb that is not found by itself can be drawn.  All parts but the
format are optional.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field, FiniteFloat, ValidationError

from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.errors import OutlineError, place_in_file
from digitise.geometry.rigid import Array

FORMAT = "outline-correction/1"
Side = Literal["left", "right"]
_CAP_ROWS = 6  # a line is closed within 12 mm of height, aslant as a hand draws it (ours)
DRAWN_SD_PX = 1.5  # how well a person draws an edge on an enlarged photograph: our estimate
_MAX_BYTES = 2_000_000
_SIDES: tuple[Side, Side] = ("left", "right")
_MARGIN = 0.05  # of the picture's longer side: points farther out count as there
_REDRAW = "Draw the correction again on the page."

Coordinate = Annotated[FiniteFloat, Field(ge=-20_000, le=40_000)]
PointForm = tuple[Coordinate, Coordinate]


class _Form(BaseModel):
    model_config = ConfigDict(defer_build=True, extra="forbid", frozen=True)


class EdgeForm(_Form):
    """A line along one edge, in pixels of the upright picture."""

    side: Side
    points: list[PointForm] = Field(min_length=2, max_length=5000)


class StrokeForm(_Form):
    """A brush stroke, in pixels of the upright picture."""

    kind: Literal["limb", "background"]
    width_px: FiniteFloat = Field(gt=0, le=2000)
    points: list[PointForm] = Field(min_length=1, max_length=5000)


class CorrectionForm(_Form):
    """A person's outline of one photograph, as written."""

    format: Literal["outline-correction/1"]
    photo_sha256: str | None = Field(default=None, pattern="^[0-9a-f]{64}$")
    edges: list[EdgeForm] = Field(default_factory=list, max_length=200)
    polygon: list[PointForm] | None = Field(default=None, min_length=3, max_length=5000)
    strokes: list[StrokeForm] = Field(default_factory=list, max_length=2000)


@dataclass(frozen=True)
class DrawnEdge:
    """A line along one edge of the limb.

    Attributes
    ----------
    side
        ``left`` or ``right`` as seen.
    points
        (n, 2) px, n >= 2.
    """

    side: Side
    points: Array


@dataclass(frozen=True)
class Stroke:
    """A brush stroke.

    Attributes
    ----------
    kind
        What it covers: ``limb`` or ``background``.
    width_px
        Width of the brush, px.
    points
        (n, 2) px, n >= 1.
    """

    kind: Literal["limb", "background"]
    width_px: float
    points: Array


@dataclass(frozen=True)
class Correction:
    """All that was drawn on one photograph.

    Attributes
    ----------
    photo_sha256
        Digest of the photograph it was drawn on; None when not recorded.
    edges, strokes
        In the order they were drawn: later ones win.
    polygon
        (n, 2) px, or None.
    """

    photo_sha256: str | None
    edges: tuple[DrawnEdge, ...] = ()
    strokes: tuple[Stroke, ...] = ()
    polygon: Array | None = None


def read_correction(path: Path) -> Correction:
    """Read a correction from a file.

    Raises
    ------
    OutlineError
        The file is missing, too large, or not a correction.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_MAX_BYTES + 1)
    except OSError as failure:
        raise OutlineError(
            f"the correction cannot be read ({failure.strerror}).",
            where=str(path),
            do="Check the file's name.",
        ) from failure
    if len(data) > _MAX_BYTES:
        raise OutlineError("the correction is too large.", where=str(path), do=_REDRAW)
    return correction_from_json(data, str(path))


def correction_from_json(text: str | bytes, where: str) -> Correction:
    """Check and convert a correction; ``where`` names it in messages.

    Raises
    ------
    OutlineError
        The text is not a correction.
    """
    try:
        form = CorrectionForm.model_validate_json(text)
    except ValidationError as problem:
        first = problem.errors()[0]
        place = place_in_file(first["loc"]) or "file"
        raise OutlineError(
            f"the correction is damaged at {place}: {first['msg']}.", where=where, do=_REDRAW
        ) from problem
    return Correction(
        form.photo_sha256,
        tuple(DrawnEdge(edge.side, np.array(edge.points, float)) for edge in form.edges),
        tuple(Stroke(s.kind, float(s.width_px), np.array(s.points, float)) for s in form.strokes),
        None if form.polygon is None else np.array(form.polygon, float),
    )


def correction_to_json(correction: Correction) -> str:
    """Return the file's text of a correction."""
    form = CorrectionForm(
        format=FORMAT,
        photo_sha256=correction.photo_sha256,
        edges=[EdgeForm(side=e.side, points=_pairs(e.points)) for e in correction.edges],
        polygon=None if correction.polygon is None else _pairs(correction.polygon),
        strokes=[
            StrokeForm(kind=s.kind, width_px=s.width_px, points=_pairs(s.points)) for s in correction.strokes
        ],
    )
    return form.model_dump_json()


def _pairs(points: Array) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in points]


def paint(correction: Correction, strip: Strip) -> NDArray[np.int8]:
    """Map a correction to the strip: (H, W) 1 where it says limb, -1 background, 0 elsewhere.

    What lies between a left and a right edge that were both drawn, or in the polygon, is limb too.
    """
    left, right = (drawn_offsets(correction, strip, side, strip.heights)[:, None] for side in _SIDES)
    painted = ((strip.offsets > left) & (strip.offsets < right)).astype(np.int8)
    for stroke in correction.strokes:
        cells = strip.cells(_on_plane(stroke.points, strip))
        if not len(cells):
            continue
        width = max(1, round(stroke.width_px * strip.pixel_mm() / STEP_MM))
        layer = np.zeros(painted.shape, np.uint8)
        line = np.round(np.clip(cells, -9999, 9999)).astype(np.int32)
        cv2.polylines(layer, [line if len(line) > 1 else np.repeat(line, 2, axis=0)], False, 1, width)
        painted[layer > 0] = 1 if stroke.kind == "limb" else -1
    return painted


def drawn_offsets(correction: Correction, strip: Strip, side: Side, heights: Array) -> Array:
    """Return where drawn edges and polygon cross the heights: (n,) mm, NaN where nothing is drawn."""
    found = np.full(len(heights), np.nan)
    if correction.polygon is not None:
        closed = _on_plane(np.vstack([correction.polygon, correction.polygon[:1]]), strip)
        found = _crossings(closed, heights, np.fmin if side == "left" else np.fmax)
    for edge in correction.edges:
        if edge.side == side:
            # where a hand-drawn line doubles back, its outermost crossing is the edge
            crossed = _crossings(
                _on_plane(edge.points, strip), heights, np.fmin if side == "left" else np.fmax
            )
            found = np.where(np.isfinite(crossed), crossed, found)
    return found


def caps(drawn: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tell on which rows (n,) a line drawn round a limb closes across it rather than follows its edges."""
    rows = np.flatnonzero(drawn)
    found = np.zeros(len(drawn), bool)
    if len(rows):
        near_end = (np.arange(len(drawn)) - rows[0] < _CAP_ROWS) | (
            rows[-1] - np.arange(len(drawn)) < _CAP_ROWS
        )
        found = drawn & near_end
    return found


def _on_plane(points: Array, strip: Strip) -> Array:
    """Map drawn points (n, 2) px to the strip's plane, leaving out those whose ray misses it: (m, 2) mm."""
    size = np.array(strip.camera.size, float)
    margin = _MARGIN * size.max()  # farther outside the picture the lens is not known
    plane = strip.plane_from_photo(np.clip(points, -margin, size + margin))
    return plane[np.isfinite(plane).all(axis=1)]


def _crossings(line: Array, heights: Array, choose: np.ufunc) -> Array:
    """Return the chosen crossing of a line (n, 2) with each height (m,), NaN where there is none."""
    found = np.full(len(heights), np.nan)
    for (x0, y0), (x1, y1) in pairwise(line):
        low, high = min(y0, y1), max(y0, y1)
        hit = (heights >= low) & (heights <= high)
        share = (heights - y0) / (y1 - y0) if y1 != y0 else np.zeros(len(heights))
        found = np.where(hit, choose(found, x0 + share * (x1 - x0)), found)
    return found
