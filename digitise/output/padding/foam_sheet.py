"""Pieces of foam at true size: a PDF to print and cut, and an SVG for a cutter.

The sheet is laid on the foam as it is: what is printed is the side that will lie on the skin.
"""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree

import numpy as np
from shapely import Polygon, maximum_inscribed_circle

from digitise.anatomy import LimbKind
from digitise.care.padding.foam import FoamPiece
from digitise.errors import PlanError
from digitise.geometry.rigid import Array
from digitise.output.cautions import caution, counted_from
from digitise.output.padding.overview import add_overview
from digitise.output.padding.tiles import (
    CUT_MM,
    EDGE_MM,
    FOOT_MM,
    HEAD_MM,
    OVERLAP_MM,
    Tile,
    area_mm,
    tiles_of,
)
from digitise.paper import PAGE_MM
from digitise.pdf import AT_FULL_SIZE, FONT, Document, true_size_document
from digitise.words import remark, shown

RULER_MM = 100.0
BEVEL_LINE_MM = 0.3
SKIN = "This side to the skin"
TRUNK = "to the trunk"
CUT = "Cut on the full line, thin out from the dashed line to the edge."
_CROSS_MM = 4.0
# Beside the title of a page there is room for three lines.
_TITLE_MM = 62.0
_ARROW_MM = 22.0
_SVG = "http://www.w3.org/2000/svg"


def foam_pdf(
    pieces: Sequence[FoamPiece],
    limb: LimbKind,
    *,
    paper: str = "a4",
    code: str = "",
    day: str = "",
    overview: bytes = b"",
    safety: Sequence[str] = (),
    lying: str | None = None,
) -> bytes:
    """Return a true-size PDF: a page per piece, or several overlapping ones where it is larger.

    Parameters
    ----------
    pieces
        What to draw.
    limb
        ``leg`` or ``arm``.
    paper
        ``a4`` or ``letter``.
    code
        The client's code, printed when given.
    day
        Of the measurement, printed when given.
    overview
        A picture (PNG) of the limb with its places; with it the first page shows where each piece goes.
    safety
        What is open about the client: all of it on that first page, the first line on every other.
    lying
        How the limb lay when it was measured; nothing of one that stood.

    Raises
    ------
    PlanError
        When there is no piece or the paper is unknown.
    """
    if paper not in PAGE_MM:
        raise PlanError(f"Foam is drawn on a4 or letter, not on {paper!r}.", do="Choose one of the two.")
    if not pieces:
        raise PlanError("There is no piece of foam to draw.", do="Choose a place on the limb first.")
    document = true_size_document("Pieces of foam")
    if overview:
        facts = [" ".join(_facts(piece, limb, "", "", lying)[:2]) for piece in pieces]
        add_overview(document, PAGE_MM[paper], overview, facts, f"{code}  {day}".strip(), safety)
    for number, piece in enumerate(pieces, start=1):
        tiles = tuple(tiles_of(piece, PAGE_MM[paper]))
        for tile in tiles:
            document.add_page(format=PAGE_MM[paper])
            page = _Page(document, piece, tile, PAGE_MM[paper])
            page.draw(len(tiles) > 1)
            told = _facts(piece, limb, code, day, lying)
            page.words(_title(number, len(pieces), tile, len(tiles)), told, limb)
            page.notice(safety[0] if safety else "")
    return bytes(document.output())


def _title(number: int, pieces: int, tile: Tile, tiles: int) -> str:
    part = f", sheet {'ABCDEFGHIJKLMNOP'[tile.row]}{tile.column + 1} of {tiles}" if tiles > 1 else ""
    return f"Foam {number} of {pieces}{part}"


def _facts(
    piece: FoamPiece, limb: LimbKind, code: str, day: str = "", lying: str | None = None
) -> tuple[str, ...]:
    start = "the floor" if limb == LimbKind.LEG and not lying else counted_from(lying)
    lowest = piece.edge or f"Lowest edge about {piece.lowest_mm / 10:.1f} cm above {start}."
    ends = " Its ends meet round the limb." if piece.goes_round else ""
    who = "  ".join(part for part in (f"Client {code}." if code else "", f"{day}." if day else "") if part)
    side = f"{piece.side.capitalize()} {limb}: " if piece.side else ""
    place = piece.place if side else f"{piece.place[0].upper()}{piece.place[1:]}"
    edges = f" Left edge {piece.left_is}, right edge {piece.right_is}." if piece.left_is else ""
    return (
        f"{who}  {side}{place}.".strip(),
        f"Foam {piece.thickness_mm:.0f} mm thick, {piece.area_cm2:.0f} cm². {lowest}{edges}{ends}",
        f"{CUT} {SKIN}, arrow {TRUNK}.",
    )


class _Page:
    """Draws one tile of one piece; page coordinates are mm from the top left, y down."""

    def __init__(self, document: Document, piece: FoamPiece, tile: Tile, paper: tuple[float, float]) -> None:
        self.pdf, self.piece, self.tile, self.paper = document, piece, tile, paper
        self.width, self.height = area_mm(paper)
        self.top = EDGE_MM + HEAD_MM

    def on_page(self, points: Array) -> list[tuple[float, float]]:
        x = EDGE_MM + points[:, 0] - self.tile.left
        y = self.top + self.height - (points[:, 1] - self.tile.bottom)
        return [(float(a), float(b)) for a, b in zip(x, y, strict=True)]

    def draw(self, tiled: bool) -> None:
        pdf = self.pdf
        pdf.set_draw_color(0)
        with pdf.rect_clip(EDGE_MM, self.top, self.width, self.height):
            pdf.set_line_width(CUT_MM)
            pdf.polygon(self.on_page(self.piece.outline), style="D")
            pdf.set_line_width(BEVEL_LINE_MM)
            pdf.set_dash_pattern(dash=3, gap=2)
            for line in self.piece.bevel:
                pdf.polygon(self.on_page(line), style="D")
            pdf.set_dash_pattern()
            self._orientation()
            self._middle()
        if tiled:
            self._overlap_marks()

    def _orientation(self) -> None:
        x, y = _arrow_foot(self.piece)
        self._centred(SKIN, x, y - 4.0, 10, "B")
        pdf = self.pdf
        pdf.set_fill_color(150)
        arrow = np.array(_arrow(x, y))
        pdf.polygon(self.on_page(arrow), style="F")
        self._centred(TRUNK, x, y + _ARROW_MM + 1.5, 8)

    def _middle(self) -> None:
        """Draw the line that lies on the middle of the place, and towards which side its edges lie."""
        pdf, outline = self.pdf, self.piece.outline
        ends = np.array([(self.piece.axis_x_mm, y) for y in (outline[:, 1].min(), outline[:, 1].max())])
        pdf.set_dash_pattern(dash=1, gap=3)
        pdf.line(*self.on_page(ends)[0], *self.on_page(ends)[1])
        pdf.set_dash_pattern()
        spot = maximum_inscribed_circle(Polygon(outline), tolerance=1.0)
        x, y = spot.coords[0]
        pdf.set_font(FONT, "", 7)
        for words, way in ((self.piece.left_is, -1), (self.piece.right_is, 1)):
            room = spot.length - pdf.get_string_width(words) / 2 - 2.0
            if words and room > pdf.get_string_width(words) / 2:
                self._centred(words, x + way * room, y - _ARROW_MM / 2 - 8.0, 7)

    def _centred(self, words: str, x: float, y: float, points: float, style: str = "") -> None:
        self.pdf.set_font(FONT, style, points)
        ((px, py),) = self.on_page(np.array([[x, y]]))
        self.pdf.text(px - self.pdf.get_string_width(words) / 2, py, words)

    def _overlap_marks(self) -> None:
        """Draw crosses that fall on one another when neighbouring sheets are laid to fit."""
        left, right = self.tile.left + OVERLAP_MM / 2, self.tile.left + self.width - OVERLAP_MM / 2
        low, high = self.tile.bottom + OVERLAP_MM / 2, self.tile.bottom + self.height - OVERLAP_MM / 2
        self.pdf.set_line_width(0.2)
        for x, y in self.on_page(np.array([(left, low), (right, low), (left, high), (right, high)])):
            self.pdf.line(x - _CROSS_MM, y, x + _CROSS_MM, y)
            self.pdf.line(x, y - _CROSS_MM, x, y + _CROSS_MM)

    def words(self, title: str, facts: tuple[str, ...], limb: LimbKind) -> None:
        pdf, y = self.pdf, EDGE_MM + 4.0
        pdf.set_font(FONT, "B", 13)
        pdf.text(EDGE_MM, y, title)
        pdf.set_font(FONT, "", 9)
        for number, line in enumerate(facts, start=1):
            pdf.set_font(FONT, "", min(9.0, 9.0 * self.width / pdf.get_string_width(line)))
            pdf.text(EDGE_MM, y + 5.5 * number, line)
            pdf.set_font(FONT, "", 9)
        self._ruler(EDGE_MM, self.paper[1] - EDGE_MM - FOOT_MM + 10.0)
        pdf.set_font(FONT, "", 7)
        pdf.set_xy(EDGE_MM, self.paper[1] - EDGE_MM - FOOT_MM + 14.0)
        pdf.multi_cell(self.width, 3.1, " ".join((*map(shown, caution(limb)), remark())).strip(), align="L")

    def notice(self, words: str) -> None:
        """Write what is open about the client beside the title."""
        pdf = self.pdf
        pdf.set_font(FONT, "B", 7)
        pdf.set_xy(EDGE_MM + _TITLE_MM, EDGE_MM - 2.0)
        pdf.multi_cell(self.width - _TITLE_MM, 3.0, words, align="L")

    def _ruler(self, x: float, y: float) -> None:
        pdf = self.pdf
        pdf.set_line_width(0.25)
        pdf.line(x, y, x + RULER_MM, y)
        for step in range(11):
            tall = 5.0 if step in (0, 10) else 3.5 if step == 5 else 2.0
            pdf.line(x + 10.0 * step, y, x + 10.0 * step, y - tall)
        pdf.set_font(FONT, "", 8)
        pdf.text(x + RULER_MM + 4.0, y, f"100 mm on paper. {AT_FULL_SIZE}")


def _arrow_foot(piece: FoamPiece) -> tuple[float, float]:
    """Return where the arrow starts, so that it and its words lie about the middle of the widest part."""
    line = maximum_inscribed_circle(Polygon(piece.outline), tolerance=1.0)
    x, y = line.coords[0]
    return float(x), float(y) - _ARROW_MM / 2


def _arrow(x: float, y: float) -> list[tuple[float, float]]:
    half, head = 2.0, 8.0
    right = [(half, 0.0), (half, _ARROW_MM - head), (3 * half, _ARROW_MM - head), (0.0, _ARROW_MM)]
    return [(x + dx, y + dy) for dx, dy in [*right, *((-dx, dy) for dx, dy in right[-2::-1])]]


def foam_svg(piece: FoamPiece, limb: LimbKind, *, code: str = "", lying: str | None = None) -> str:
    """Return one piece as an SVG at true size: millimetres, seen from the skin side, the trunk upward.

    Parameters
    ----------
    piece
        What to draw.
    limb
        ``leg`` or ``arm``.
    code
        The client's code, written when given.
    lying
        As for :func:`foam_pdf`.
    """
    width, height = (max(float(piece.outline[:, 0].max()), RULER_MM) + 10.0, piece.outline[:, 1].max() + 30.0)
    size = {
        "width": f"{width:.2f}mm",
        "height": f"{height:.2f}mm",
        "viewBox": f"0 0 {width:.2f} {height:.2f}",
    }
    root = ElementTree.Element("svg", {"xmlns": _SVG, **size})
    facts = _facts(piece, limb, code, lying=lying)
    ElementTree.SubElement(root, "title").text = shown(facts[0])
    told = (*map(shown, (*facts, *caution(limb))), remark())
    ElementTree.SubElement(root, "desc").text = " ".join(told).strip()
    bottom = piece.outline[:, 1].max() + 5.0

    def path(name: str, rings: Sequence[Array], style: dict[str, str]) -> None:
        for ring in rings:
            spots = " L".join(f"{x + 5.0:.2f},{bottom - y:.2f}" for x, y in ring[:-1])
            ElementTree.SubElement(root, "path", {"class": name, "d": f"M{spots} Z", **style})

    def words(text: str, x: float, y: float, points: float, anchor: str) -> None:
        style = {"x": f"{x:.2f}", "y": f"{y:.2f}", "font-size": f"{points}", "font-family": "sans-serif"}
        ElementTree.SubElement(root, "text", {**style, "text-anchor": anchor}).text = shown(text)

    line = {"fill": "none", "stroke": "#000"}
    path("cut", [piece.outline], {**line, "stroke-width": f"{CUT_MM}"})
    path("bevel", piece.bevel, {**line, "stroke-width": f"{BEVEL_LINE_MM}", "stroke-dasharray": "3 2"})
    x, y = _arrow_foot(piece)
    path("arrow", [np.array([*_arrow(x, y), (x, y)])], {"fill": "#999"})
    words(SKIN, x + 5.0, bottom - y + 5.0, 3.5, "middle")
    words(TRUNK, x + 5.0, bottom - y - _ARROW_MM - 1.5, 2.8, "middle")
    path(
        "ruler", [np.array([(0.0, -10.0), (RULER_MM, -10.0), (0.0, -10.0)])], {**line, "stroke-width": "0.3"}
    )
    words(f"100 mm.  {facts[0]}", 5.0, bottom + 16.0, 3.0, "start")
    words(facts[1], 5.0, bottom + 20.5, 2.6, "start")
    return ElementTree.tostring(root, encoding="unicode", xml_declaration=True) + "\n"
