"""Draw sheets as true-size PDF pages: markers as filled outlines, words, ruler, the foot's place.

Page coordinates are fpdf2's: mm from the top left, y down.  Sheets are given in their board frame
(origin at the centre, y up), so every point passes through :class:`_Pen`.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np
from fpdf.drawing import PaintedPath
from fpdf.drawing_primitives import DeviceGray
from fpdf.enums import PathPaintRule
from scipy.interpolate import CubicSpline
from shapely import Polygon, box, union_all

from digitise.capture.sheets.layout import DICTIONARY, MODULES, RULER_MM, Sheet
from digitise.geometry.rigid import Array
from digitise.pdf import AT_FULL_SIZE, FONT, Document

_POINT_MM = 72 / 25.4

# Half the outline of a sole: (distance from the heel, half width) as fractions of its length, by eye.
_SOLE = np.array(
    [
        (0.0, 0.0),
        (0.02, 0.065),
        (0.08, 0.115),
        (0.18, 0.13),
        (0.42, 0.12),
        (0.7, 0.185),
        (0.88, 0.165),
        (0.975, 0.08),
    ]
)
_FOOT_MM = 250.0


def add_sheets(document: Document, sheets: Iterable[Sheet]) -> None:
    """Append one true-size page per sheet."""
    for sheet in sheets:
        width, height = (float(length) for length in sheet.board.size)
        document.add_page(format=(width, height))
        pen = _Pen(document, width, height)
        if sheet.heel_y is not None:
            pen.foot(sheet.heel_y, min(height / 2 - 7.0, sheet.heel_y + _FOOT_MM))
        for marker_id, corners in zip(sheet.board.ids, sheet.board.corners, strict=True):
            pen.marker(marker_id, corners)
        pen.notes(sheet)


def marker_outline(marker_id: int) -> tuple[Polygon, ...]:
    """Return the black parts of a marker as polygons with holes, one unit a module, y down.

    One outline instead of a square per module: between neighbouring squares a viewer's smoothing
    shows hairlines, and a detector sees them.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    pattern = cv2.aruco.generateImageMarker(dictionary, marker_id, MODULES)
    black = union_all([box(x, y, x + 1, y + 1) for y, x in np.argwhere(pattern == 0)])
    return tuple(black.geoms) if hasattr(black, "geoms") else (black,)


def foot_outline(length: float = _FOOT_MM) -> Array:
    """Return a sole (n, 2) in mm that fits either foot: heel at the origin, toes towards +y."""
    other_half = _SOLE[1:][::-1] * (1, -1)
    ring = np.vstack([_SOLE, (1.0, 0.0), other_half, _SOLE[:1]])
    # centripetal parameters: a spline through unevenly spaced points neither loops nor bulges
    steps = np.sqrt(np.linalg.norm(np.diff(ring, axis=0), axis=1))
    places = np.concatenate([[0.0], np.cumsum(steps)])
    curve = CubicSpline(places, ring * length, bc_type="periodic")
    along_across: Array = curve(np.linspace(0, places[-1], 200))
    return along_across[:, ::-1]


class _Pen:
    """Draws in a board's frame on the current page."""

    def __init__(self, document: Document, width: float, height: float) -> None:
        self.pdf, self.width, self.height = document, width, height

    def on_page(self, points: Array) -> Array:
        return np.array([self.width / 2, self.height / 2]) + points * (1.0, -1.0)

    def rings(self, rings: Iterable[Array], *, fill: float | None = None, line: float | None = None) -> None:
        """Fill (even-odd) or outline closed rings of page points; greys from 0 black to 1 white."""
        path = PaintedPath()
        path.style.paint_rule = PathPaintRule.STROKE if fill is None else PathPaintRule.FILL_EVENODD
        path.style.fill_color = None if fill is None else DeviceGray(fill)
        path.style.stroke_color = None if line is None else DeviceGray(line)
        path.style.stroke_width = 0.35
        for ring in rings:
            path.move_to(*map(float, ring[0]))
            for point in ring[1:]:
                path.line_to(*map(float, point))
            path.close()
        with self.pdf.drawing_context() as context:
            context.add_item(path)

    def marker(self, marker_id: int, corners: Array) -> None:
        top_left = self.on_page(corners[0])
        module = float(corners[1, 0] - corners[0, 0]) / MODULES
        parts = marker_outline(marker_id)
        rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
        self.rings([top_left + module * np.array(ring.coords[:-1]) for ring in rings], fill=0.0)

    def text(self, x: float, y: float, words: str, points: float, style: str = "", align: str = "L") -> None:
        """Set one line with its baseline at (x, y) of the board frame; ``align`` L, C or R of x."""
        self.pdf.set_font(FONT, style, points)
        shift = {"L": 0.0, "C": 0.5, "R": 1.0}[align] * self.pdf.get_string_width(words)
        px, py = self.on_page(np.array([x, y]))
        self.pdf.text(float(px) - shift, float(py), words)

    def foot(self, heel_y: float, top: float) -> None:
        """Draw the sole as far as the page reaches, with an arrow towards the toes."""
        sole = foot_outline() + np.array([0.0, heel_y])
        self.pdf.set_text_color(110)
        if sole[:, 1].max() > top:
            inside = sole[sole[:, 1] <= top]
            start = int(np.argmax(np.diff(inside[:, 0]) ** 2 + np.diff(inside[:, 1]) ** 2)) + 1
            self._open_line(np.roll(inside, -start, axis=0))
            self.text(0.0, top - 3.0, "the toes may reach over this edge", 9, "", "C")
        else:
            self.rings([self.on_page(sole)], line=0.55)
        self.text(0.0, heel_y + 12.0, "HEEL HERE", 11, "B", "C")
        self.text(0.0, heel_y + 66.0, "left or right foot, bare", 9, "", "C")
        self._arrow(0.0, heel_y + 78.0, 60.0)
        self.text(0.0, heel_y + 145.0, "TOES POINT THIS WAY", 11, "B", "C")
        self.pdf.set_text_color(0)

    def _open_line(self, points: Array) -> None:
        self.pdf.set_draw_color(140)
        self.pdf.set_line_width(0.35)
        self.pdf.polyline([(float(x), float(y)) for x, y in self.on_page(points)])

    def _arrow(self, x: float, y: float, length: float) -> None:
        half, head = length * 0.09, length * 0.4
        right = [(half, 0.0), (half, length - head), (2.6 * half, length - head), (0.0, length)]
        ring = np.array([*right, *((-dx, dy) for dx, dy in right[-2::-1])])
        self.rings([self.on_page(ring + np.array([x, y]))], fill=0.72)

    def notes(self, sheet: Sheet) -> None:
        """Write name, place and printing advice beside the ruler, or above it in a narrow strip."""
        left, bottom, right, top = sheet.strip
        narrow = right - left < RULER_MM + 60.0
        self._ruler(left + 1.0 if narrow else right - RULER_MM - 1.0, bottom + 2.0)
        up = "▲ towards the toes" if sheet.board.role == "mat" else "▲ this way up"
        larger = min((top - bottom) / 20.0, 1.4)
        self.text(left, top - 5.0 * larger, f"{sheet.title}   {up}", 13 * larger, "B")
        self.text(left, top - 10.0 * larger, sheet.hint, 9 * larger)
        self.text(left, top - 14.5 * larger, AT_FULL_SIZE, 9 * larger)

    def _ruler(self, x: float, y: float) -> None:
        """Draw 100 mm with a tick every 10 mm, its ends sharp enough to lay a rule against."""
        self.pdf.set_draw_color(0)
        self.pdf.set_line_width(0.25)
        ticks = [
            (x + 10.0 * step, 6.0 if step in (0, 10) else 4.0 if step == 5 else 2.5) for step in range(11)
        ]
        for start, end in [((x, y), (x + RULER_MM, y)), *(((tx, y), (tx, y + tall)) for tx, tall in ticks)]:
            (ax, ay), (bx, by) = self.on_page(np.array([start, end])).tolist()
            self.pdf.line(ax, ay, bx, by)
        self.text(x + RULER_MM / 2, y + 5.2, "From end to end: 100 mm on paper", 8, "", "C")
