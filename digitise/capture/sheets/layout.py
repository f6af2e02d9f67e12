"""Printed sheets: how markers are laid out on paper, and the field.json that belongs to them.

Two kinds of set.  For home printers (A4, Letter) every page is a board of its own: three pages make the
mat, five pages frame each of two plain panels.  For roll printers the mat is one board and each backdrop
is one board with a frame of markers.  Inside the frame nothing is printed: there the limb's edge is seen.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from digitise.capture.sheets.field import Board, MarkerField
from digitise.capture.sheets.field_form import Role
from digitise.errors import SheetError
from digitise.geometry.rigid import Array
from digitise.paper import PAGE_MM, Paper

DICTIONARY = "DICT_APRILTAG_36h11"
MODULES = 8  # across one marker, black border included
RULER_MM = 100.0
PRINT_SCALE = (0.9, 1.1)

_EDGE = 7.0  # home printers leave 3 to 6 mm of the paper's edge blank
_STRIP = 20.0  # height of the strip with words and ruler on a page
_FOOT_HALF_WIDTH = 55.0  # half the zone kept free for a swollen foot, about 100 mm wide
_HEEL_GAP = 8.0


@dataclass(frozen=True)
class Sheet:
    """One printed sheet: a board and the words on it.

    Attributes
    ----------
    board
        Markers in the board frame, mm, at the size they are drawn.
    title
        What the sheet is called, for people.
    hint
        Where it goes, one short sentence.
    strip
        Left, bottom, right, top of the area kept free for words and ruler, board frame, mm.
    heel_y
        Where the back of the heel goes, mm in the board frame; None on sheets no foot stands on.
    """

    board: Board
    title: str
    hint: str
    strip: tuple[float, float, float, float]
    heel_y: float | None = None


def sheet_set(paper: Paper) -> tuple[Sheet, ...]:
    """Return the sheets of one set, the mat first, marker ids unique across the set."""
    sheets = _roll_sheets() if paper == "roll" else _page_sheets(*PAGE_MM[paper])
    return tuple(_numbered(sheets))


def sheet_field(sheets: Iterable[Sheet], print_scale: float = 1.0) -> MarkerField:
    """Return the field that the sheets make when the printer scaled by ``print_scale``."""
    boards = (
        replace(sheet.board, size=sheet.board.size * print_scale, corners=sheet.board.corners * print_scale)
        for sheet in sheets
    )
    return MarkerField(DICTIONARY, tuple(boards))


def parse_print_scale(text: str) -> float:
    """Read ``MEASURED/PRINTED`` (such as ``98.5/100``) or a plain ratio; a decimal comma is accepted.

    Raises
    ------
    SheetError
        No ratio can be read, or it is outside 0.9 to 1.1.
    """
    measured, _, printed = text.replace(",", ".").partition("/")
    try:
        ratio = float(measured) / float(printed or "1")
    except (ValueError, ZeroDivisionError) as error:
        raise SheetError(
            "A print scale is the measured length over the printed one.",
            where=f"--print-scale {text}",
            do="Write it like 98.5/100.",
        ) from error
    if not PRINT_SCALE[0] <= ratio <= PRINT_SCALE[1]:
        raise SheetError(
            f"The print scale must lie between {PRINT_SCALE[0]} and {PRINT_SCALE[1]}.",
            where=f"--print-scale {text}",
            do='Measure the ruler in millimetres, or print again at 100 % without "fit to page".',
        )
    return ratio


# ---------------------------------------------------------------- A4 and Letter pages


def _page_sheets(width: float, height: float) -> list[Sheet]:
    sheets = [
        _foot_page(height, width),
        _marker_page("mat-left", "mat", (width, height), (2, 3), "Mat, left", "Left of the middle page."),
        _marker_page("mat-right", "mat", (width, height), (2, 3), "Mat, right", "Right of the middle page."),
    ]
    for letter in "ab":
        for row in ("upper", "lower"):
            for side in ("left", "right"):
                name, title = f"backdrop-{letter}-{row}-{side}", f"Backdrop {letter.upper()}, {row} {side}"
                hint = f"On the {side} edge of panel {letter.upper()}, {row} half."
                sheets.append(_marker_page(name, "backdrop", (width, height), (2, 3), title, hint))
        title, hint = f"Backdrop {letter.upper()}, top", f"On the top edge of panel {letter.upper()}, middle."
        sheets.append(
            _marker_page(f"backdrop-{letter}-top", "backdrop", (height, width), (3, 2), title, hint)
        )
    return sheets


def _marker_page(
    name: str, role: Role, size: tuple[float, float], grid: tuple[int, int], title: str, hint: str
) -> Sheet:
    """Fill a page with ``grid`` (columns, rows) of the largest markers in whole mm, words at the bottom."""
    (width, height), (columns, rows) = size, grid
    side = math.floor(
        min(_largest_side(width, columns), _largest_side(height - _STRIP - _EDGE, rows)),
    )
    lefts = _spread(-width / 2, width / 2, side, columns)
    bottoms = _spread(-height / 2 + _STRIP + _EDGE, height / 2, side, rows)
    corners = _squares([(x, y + side) for y in reversed(bottoms) for x in lefts], side)
    return Sheet(_board(name, role, size, corners), title, hint, _bottom_strip(width, height, _STRIP))


def _foot_page(width: float, height: float) -> Sheet:
    """Lay out the middle of the mat: the foot's place between two columns of markers."""
    floor = -height / 2 + _STRIP + _EDGE
    side = math.floor(
        min(_largest_side(width / 2 - _FOOT_HALF_WIDTH, 1), _largest_side(height / 2 - floor, 2)),
    )
    bottoms = _spread(floor, height / 2, side, 2)
    left = -width / 2 + _quiet(side)
    lefts = (left, -left - side)
    corners = _squares([(x, y + side) for y in reversed(bottoms) for x in lefts], side)
    board = _board("mat", "mat", (width, height), corners)
    hint = "Between the left and the right page; the heel stands here."
    return Sheet(board, "Mat, middle", hint, _bottom_strip(width, height, _STRIP), floor + _HEEL_GAP)


# ---------------------------------------------------------------- roll prints


def _roll_sheets() -> list[Sheet]:
    return [
        _roll_mat(),
        _roll_backdrop("a", "Stand it behind the limb as seen from camera place 1."),
        _roll_backdrop("b", "Stand it behind the limb as seen from camera place 2."),
    ]


def _roll_mat() -> Sheet:
    width, height, strip, side = 400.0, 550.0, 28.0, 80.0
    lefts = _spread(-width / 2, width / 2, side, 4)
    tops = [y + side for y in reversed(_spread(-height / 2 + strip + _EDGE, height / 2, side, 5))]
    ring = [
        (x, y)
        for row, y in enumerate(tops)
        for column, x in enumerate(lefts)
        if row in (0, len(tops) - 1) or column in (0, len(lefts) - 1)
    ]
    board = _board("mat", "mat", (width, height), _squares(ring, side))
    # the ankle, some 65 mm before the back of the heel, comes near the origin
    return Sheet(board, "Mat", "Lay it flat on the floor.", _bottom_strip(width, height, strip), -85.0)


def _roll_backdrop(letter: str, hint: str) -> Sheet:
    """Lay out columns left and right and a row on top; the bottom stays plain, there the shin is seen."""
    width, height, strip, side = 900.0, 1200.0, 40.0, 90.0
    lefts = _spread(-width / 2, width / 2, side, 8)
    tops = [y + side for y in reversed(_spread(-height / 2 + strip + _EDGE, height / 2, side, 10))]
    frame = [(x, tops[0]) for x in lefts] + [(x, y) for y in tops[1:] for x in (lefts[0], lefts[-1])]
    board = _board(f"backdrop-{letter}", "backdrop", (width, height), _squares(frame, side))
    left, bottom, _, top = _bottom_strip(width, height, strip)
    return Sheet(board, f"Backdrop {letter.upper()}", hint, (left, bottom, left + 125.0, top))


# ---------------------------------------------------------------- shared geometry


def _quiet(side: float) -> float:
    """White kept round a marker: one module, and 1 mm for paper that a printer pulls in askew."""
    return side / MODULES + 1.0


def _largest_side(length: float, count: int) -> float:
    """Solve ``count * side + (count + 1) * quiet(side) = length`` for the side."""
    return (length - (count + 1)) / (count + (count + 1) / MODULES)


def _spread(low: float, high: float, side: float, count: int) -> list[float]:
    """Return where ``count`` markers begin, as far apart as the white round the outer ones allows."""
    return [float(x) for x in np.linspace(low + _quiet(side), high - _quiet(side) - side, count)]


def _bottom_strip(width: float, height: float, strip: float) -> tuple[float, float, float, float]:
    bottom = -height / 2 + _EDGE
    return (-width / 2 + _EDGE, bottom, width / 2 - _EDGE, bottom + strip)


def _squares(top_lefts: list[tuple[float, float]], side: float) -> Array:
    """Return (n, 4, 2) corners, clockwise from the top left."""
    offsets: Array = np.array([[0.0, 0.0], [side, 0.0], [side, -side], [0.0, -side]])
    return np.array(top_lefts, dtype=np.float64)[:, None, :] + offsets


def _board(name: str, role: Role, size: tuple[float, float], corners: Array) -> Board:
    return Board(name, role, np.array(size), tuple(range(len(corners))), corners)


def _numbered(sheets: Iterable[Sheet]) -> Iterable[Sheet]:
    first = 0
    for sheet in sheets:
        count = len(sheet.board.ids)
        yield replace(sheet, board=replace(sheet.board, ids=tuple(range(first, first + count))))
        first += count
