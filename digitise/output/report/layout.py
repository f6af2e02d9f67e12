"""Pages of a report: headings, paragraphs, figures, boxes and tables that flow from page to page."""

from __future__ import annotations

import io
from collections.abc import Sequence

from fpdf.enums import TableBordersLayout
from fpdf.fonts import FontFace

from digitise.errors import OutputError
from digitise.paper import PAGE_MM
from digitise.pdf import FONT, Document, dress

MARGIN_MM = 15.0
_BOTTOM_MM = 16.0
_INK, _FAINT, _RULE, _BOX = (29, 39, 51), (84, 91, 99), (10, 106, 110), (238, 241, 240)
_LINE_MM = 4.2
_ROW_MM = 4.4


class Pages(Document):
    """A document that grows downward; lengths in mm.

    Parameters
    ----------
    paper
        ``a4`` or ``letter``.
    title
        Of the document.
    foot
        Words at the foot of every page.

    Raises
    ------
    OutputError
        The paper is another one.
    """

    def __init__(self, paper: str, title: str, foot: str) -> None:
        if paper not in PAGE_MM:
            raise OutputError(f"A report is made for a4 or letter, not {paper!r}.", do="Name one of the two.")
        super().__init__(unit="mm", format=PAGE_MM[paper])
        self.foot = foot
        self.set_margins(MARGIN_MM, MARGIN_MM)
        self.set_auto_page_break(True, _BOTTOM_MM)
        dress(self, title)
        self.alias_nb_pages("{n}")
        self.add_page()

    def footer(self) -> None:
        """Write the foot of a page."""
        self.set_y(-_BOTTOM_MM + 4.0)
        self._rule()
        self.set_y(-_BOTTOM_MM + 5.5)
        self._ink(7.0, colour=_FAINT)
        self.cell(self.epw - 30.0, 4.0, self.foot)
        self.cell(30.0, 4.0, f"page {self.page_no()} of {{n}}", align="R")
        self.remark(self.l_margin, self.h - _BOTTOM_MM + 12.0)

    def _rule(self) -> None:
        self.set_draw_color(*_RULE)
        self.set_line_width(0.3)
        self.line(self.l_margin, self.y, self.w - self.r_margin, self.y)

    def _ink(self, points: float, style: str = "", colour: tuple[int, int, int] = _INK) -> None:
        self.set_font(FONT, style, points)
        self.set_text_color(*colour)

    @property
    def left(self) -> float:
        """Height that is left on the page, mm."""
        return float(self.h - _BOTTOM_MM - self.y)

    def need(self, height: float) -> None:
        """Begin a new page when less than ``height`` is left on this one."""
        if self.left < height:
            self.add_page()

    def head(self, title: str, beside: str) -> None:
        """Write the title of the document, and words at its right."""
        self.start_section(title)
        self._ink(18.0, "B")
        self.cell(self.epw * 0.62, 9.0, title)
        self._ink(9.0)
        self.cell(self.epw * 0.38, 9.0, beside, align="R", new_x="LMARGIN", new_y="NEXT")
        self._rule()
        self.ln(3.0)

    def heading(self, words: str, keep: float = 25.0) -> None:
        """Write a heading, on a new page when less than ``keep`` mm would be left below it."""
        self.need(keep)
        self.ln(1.5)
        self.start_section(words, level=1)
        self._ink(11.5, "B")
        self.cell(0.0, 6.0, words, new_x="LMARGIN", new_y="NEXT")
        self.ln(0.8)

    def paragraph(
        self, words: str, points: float = 9.0, *, faint: bool = False, bullet: bool = False
    ) -> None:
        """Write a paragraph over the full width."""
        self._ink(points, colour=_FAINT if faint else _INK)
        line = _LINE_MM * points / 9.0
        if bullet:
            self.cell(3.5, line, "•")
        self.multi_cell(0.0, line, words, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(0.7)

    def notice(self, lines: Sequence[str]) -> None:
        """Write lines that nobody may overlook, the first in bold, beside a thick bar."""
        if not lines:
            return
        top, page = self.y, self.page
        self.set_left_margin(self.l_margin + 4.0)
        for number, line in enumerate(lines):
            self.set_x(self.l_margin)
            self._ink(9.5, "" if number else "B")
            self.multi_cell(0.0, _LINE_MM, line, align="L", new_x="LMARGIN", new_y="NEXT")
            self.ln(0.7)
        self.set_left_margin(self.l_margin - 4.0)
        self.set_fill_color(*_INK)
        # lines that run on to another page have their bar there
        self.rect(self.l_margin, top if page == self.page else self.t_margin, 1.6, self._bar(top, page), "F")
        self.set_xy(self.l_margin, self.y + 2.0)

    def _bar(self, top: float, page: int) -> float:
        return float(self.y - (top if page == self.page else self.t_margin) - 0.7)

    def facts(self, rows: Sequence[tuple[str, str]]) -> None:
        """Write names and what belongs to them, side by side."""
        for name, words in rows:
            self._ink(9.0, colour=_FAINT)
            self.cell(32.0, 4.8, name)
            self._ink(9.0)
            self.multi_cell(self.epw - 32.0, 4.8, words, align="L", new_x="LMARGIN", new_y="NEXT")
        self.ln(2.0)

    def boxes(self, boxes: Sequence[tuple[str, str, str]]) -> None:
        """Draw boxes side by side: what it is, the figure, and its interval."""
        gap = 3.0
        width = (self.epw - gap * (len(boxes) - 1)) / len(boxes)
        self._ink(8.0)
        lines = [self.multi_cell(width - 5.0, 3.5, box[2], dry_run=True, output="LINES") for box in boxes]
        top, height = self.y, 14.4 + 3.5 * max(len(each) for each in lines)
        for n, (name, value, below) in enumerate(boxes):
            x = self.l_margin + n * (width + gap)
            self.set_fill_color(*_BOX)
            self.rect(x, top, width, height, style="F")
            self.set_fill_color(*_RULE)
            self.rect(x, top, 1.2, height, style="F")
            self.set_xy(x + 4.0, top + 1.6)
            self._ink(8.0, colour=_FAINT)
            self.cell(width - 5.0, 4.0, name)
            self.set_xy(x + 4.0, top + 6.0)
            self._ink(15.0, "B")
            self.cell(width - 5.0, 7.0, value)
            self.set_xy(x + 4.0, top + 13.4)
            self._ink(8.0)
            self.multi_cell(width - 5.0, 3.5, below, align="L")
        self.set_xy(self.l_margin, top + height + 3.0)

    def picture(
        self, png: bytes, words: str, width: float, height: float, *, x: float = 0.0, beside: bool = False
    ) -> None:
        """Place a PNG ``x`` mm from the left margin; the words are read out to who cannot see it.

        With ``beside``, writing goes on at the picture's top.
        """
        self.need(height)
        top = self.y
        self.image(io.BytesIO(png), self.l_margin + x, top, width, height, alt_text=words)
        self.set_xy(self.l_margin, top if beside else top + height + 1.5)

    @staticmethod
    def rows_mm(count: int, points: float = 8.0) -> float:
        """Return how high a table of so many rows is, its head among them, mm."""
        return count * _ROW_MM * points / 8.0

    def rows(
        self,
        head: Sequence[str],
        body: Sequence[Sequence[str]],
        widths: Sequence[float],
        *,
        align: str = "",
        x: float = 0.0,
        points: float = 8.0,
    ) -> None:
        """Write a table ``x`` mm from the left margin.

        Parameters
        ----------
        head, body
            Column titles and cells.
        widths
            Of the columns, mm.
        align
            A letter per column, ``L`` or ``R``; all ``L`` when empty.
        x, points
            Place and size of the type.
        """
        self._ink(points)
        self.set_draw_color(190)
        self.set_line_width(0.15)
        # the library fills cells with whatever colour was used last
        self.set_fill_color(255)
        letters = align or "L" * len(head)
        names = {"L": "LEFT", "R": "RIGHT"}
        usual = self.l_margin
        self.set_left_margin(usual + x)
        self.set_x(usual + x)
        with self.table(
            width=sum(widths),
            col_widths=tuple(widths),
            align="LEFT",
            text_align=tuple(names[letter] for letter in letters),
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            line_height=_ROW_MM * points / 8.0,
            headings_style=FontFace(emphasis="BOLD", size_pt=points),
            padding=(0.0, 1.3),
        ) as table:
            for row in (head, *body):
                table.row(row)
        self.set_left_margin(usual)
        self.set_xy(usual, self.y + 2.0)
