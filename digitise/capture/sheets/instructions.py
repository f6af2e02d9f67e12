"""The page that tells how to assemble the sheets and take the photographs, with drawings of our own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.capture.sheets.printing import foot_outline
from digitise.paper import PAGE_MM, Paper
from digitise.pdf import FONT, Document
from digitise.words import shown

MARGIN = 15.0
Point = tuple[float, float]

_PRINT = (
    "Print",
    "Print all pages at 100 % (actual size, no “fit to page”) on plain matt paper. Measure the ruler "
    "on a page: it must be 100 mm. If it is, say, 98.5 mm, do not print again; run the program once "
    "more with --print-scale 98.5/100. Keep the new field.json: it belongs to these sheets.",
)
_STICK = (
    "Stick",
    "Tape the three mat pages side by side to the floor, arrows up. Stick the five pages of each backdrop "
    "on something flat and plain, as drawn, words upright: the two walls of a room's corner serve best and "
    "need nothing else; a wall and a door, or two panels of about 90 × 120 cm, do as well. Leave the middle "
    "empty. Best is a colour unlike the skin. A few millimetres or degrees askew do no harm.",
)
_PRINT_ROLL = (
    "Print",
    "Have mat.pdf (400 × 550 mm), backdrop-a.pdf and backdrop-b.pdf (900 × 1200 mm each) printed at "
    "100 % on matt white paper or film. Measure the rulers: each must be 100 mm. If they are, say, 99 "
    "mm, do not print again; run the program once more with --print-scale 99/100. Keep the new "
    "field.json: it belongs to these sheets.",
)
_MOUNT_ROLL = (
    "Mount",
    "Lay the mat flat on the floor. Fix each backdrop flat to a wall, a board or a stand, words "
    "upright, the lower edge on the floor.",
)
_STEPS = (
    (
        "Place",
        "One backdrop 40 to 60 cm behind the heel, the other on the side of the other leg, 60 to 80 cm from "
        "the foot, so that the other foot fits between. Leave 2 m free on the opposite sides. Even light "
        "from several directions, no flash.",
    ),
    (
        "Stand",
        "Bare foot on the drawing, toes along the arrow, clothing tucked up well above the limb. The other "
        "foot half a step aside and half a step back, so that plain wall shows on both sides of the limb. No "
        "stick or chair beside the limb: hold on to something outside the picture. Thighs that touch or lean "
        "inward: stick the pages further to that side. The limb keeps still between the photographs.",
    ),
    (
        "Photograph",
        "One photograph from each camera place, with the same phone held upright at knee height, 1.5 to 2 m "
        "away. Main camera at 1×: no zoom, no portrait mode, no filter, no selfie camera. In the picture: "
        "the whole mat, the limb up to where you will measure, the backdrop behind it, and, if it fits, part "
        "of the other backdrop. The foot too: one more from above, phone level at arm's length over the "
        "foot, the whole foot and the mat round it in the picture.",
    ),
    (
        "Other leg",
        "Turn the mat and the person by half a turn, other foot on the drawing; nothing else moves. Or both "
        "legs at once, with a third photograph: see the next page, and how four show a change better.",
    ),
    (
        "Little room?",
        "One backdrop and one camera place are enough: after the first photograph turn the mat and the "
        "foot together by a quarter turn, and take the second from the same place.",
    ),
)
_BESIDE_THE_PLAN = """\
Both cameras at knee height,
each facing the limb and
the backdrop behind it.
Drawn for a right leg;
for a left leg: step 6."""


def add_instructions(document: Document, paper: Paper) -> None:
    """Append the page, on A4 or Letter; the set for a roll gets an A4 page."""
    roll = paper == "roll"
    steps = ((_PRINT_ROLL, _MOUNT_ROLL) if roll else (_PRINT, _STICK)) + _STEPS
    width, y = set_page(document, paper, "Setting up and taking the photographs", steps)
    pages = None if paper == "roll" else PAGE_MM[paper]
    Drawing(document, (MARGIN + (60.0 if roll else 30.0), y + 84.0), 1 / 28).plan(pages)
    if pages:
        right = width - MARGIN - 33.0
        Drawing(document, (right, y + 70.0), 1 / 21).panel(900.0, pages)
        Drawing(document, (right, y + 110.0), 1 / 12).mat_pages(pages)


def set_page(
    document: Document, paper: Paper, title: str, steps: Sequence[tuple[str, str]]
) -> tuple[float, float]:
    """Begin a page with a title and numbered steps.

    Parameters
    ----------
    document
        Gets the page: A4 or Letter, and A4 for the set of a roll.
    paper, title, steps
        What the sheets are printed on, and what the page says.

    Returns
    -------
    The page's width, and how far down the steps reach, mm.
    """
    width, height = PAGE_MM["a4" if paper == "roll" else paper]
    document.add_page(format=(width, height))
    document.set_text_color(0)
    document.set_font(FONT, "B", 17)
    document.text(MARGIN, MARGIN + 5.0, title)
    document.remark(MARGIN, height - MARGIN / 2)
    y = MARGIN + 12.0
    for number, (name, words) in enumerate(steps, start=1):
        y = set_step(document, (MARGIN, y), width - 2 * MARGIN, (f"{number}  {name}", words))
    return width, y


def set_step(document: Document, at: Point, width: float, step: tuple[str, str]) -> float:
    """Set one step, its title in the left column; return where the next one starts, mm."""
    x, y = at
    document.set_font(FONT, "B", 10.5)
    document.text(x, y + 3.7, step[0])
    document.set_font(FONT, "", 9.5)
    document.set_xy(x + 33.0, y)
    document.multi_cell(width - 33.0, 4.6, step[1], align="L")
    return float(document.get_y()) + 2.2


class Drawing:
    """A small drawing in millimetres of the room, y up, at a scale."""

    def __init__(self, document: Document, origin: Point, scale: float) -> None:
        self.pdf, self.origin, self.scale = document, np.array(origin), scale

    def page(self, x: float, y: float) -> Point:
        """Return where a point of the room lies on the page, mm."""
        px, py = self.origin + np.array([x, -y]) * self.scale
        return float(px), float(py)

    def shape(self, points: Sequence[Point], grey: int | None = 255) -> None:
        """Draw a closed shape; a line alone without ``grey``."""
        self.pdf.set_draw_color(60)
        self.pdf.set_line_width(0.25)
        if grey is not None:
            self.pdf.set_fill_color(grey)
        self.pdf.polygon([self.page(*point) for point in points], style="D" if grey is None else "DF")

    def rectangle(self, left: float, bottom: float, right: float, top: float, grey: int | None = 255) -> None:
        """Draw a rectangle, as a shape."""
        self.shape([(left, bottom), (right, bottom), (right, top), (left, top)], grey)

    def words(self, x: float, y: float, text: str, points: float = 8.5, style: str = "") -> None:
        """Set lines centred on (x, y)."""
        self.pdf.set_font(FONT, style, points)
        px, py = self.page(x, y)
        for number, line in enumerate(shown(text).split("\n")):
            self.pdf.text(px - self.pdf.get_string_width(line) / 2, py + 1.2 + 3.6 * number, line)

    def dashed(self, start: Point, end: Point) -> None:
        """Draw a dashed line."""
        self.pdf.set_draw_color(120)
        self.pdf.set_line_width(0.25)
        with self.pdf.local_context():
            self.pdf.set_dash_pattern(dash=1.5, gap=1.2)
            self.pdf.line(*self.page(*start), *self.page(*end))

    def camera(self, x: float, y: float, towards: Point) -> None:
        """Draw a phone seen from above: a slab across its line of sight, with a lens."""
        sight = np.array(towards) - (x, y)
        sight = sight / np.hypot(*sight)
        across = np.array([-sight[1], sight[0]])
        at = np.array([x, y])
        corners = [at + 75 * a * across + 25 * b * sight for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        self.shape([(float(px), float(py)) for px, py in corners], 60)
        lens = [
            at + 25 * sight + 30 * a * across + 22 * b * sight for a, b in ((-1, 0), (1, 0), (1, 1), (-1, 1))
        ]
        self.shape([(float(px), float(py)) for px, py in lens], 150)

    def foot(self, x: float, y: float, grey: int) -> None:
        """Draw a foot with its toes up."""
        self.shape([(float(px) + x, float(py) + y) for px, py in foot_outline()[::4]], grey)

    def plan(self, pages: Point | None) -> None:
        """Draw the set-up seen from above: mat at the origin, toes up."""
        self.words(560, 2150, "Seen from above", 10, "B")
        self.dashed((0, -600), (0, 1720))
        self.dashed((-760, 0), (1720, 0))
        mat = _mat_pages(pages) if pages else [(-200.0, -275.0, 200.0, 275.0)]
        for left, bottom, right, top in mat:
            self.rectangle(left, bottom, right, top, 225)
        # the walls of the corner, and on them the part between the outer pages
        self.shape([(-860, -740), (600, -740), (600, -700), (-820, -700), (-820, 700), (-860, 700)], 235)
        self.rectangle(-450, -700, 450, -665, 90)
        self.rectangle(-820, -450, -785, 450, 90)
        self.foot(0, -85, 120)
        self.foot(-360, -430, 255)
        self.camera(0, 1800, (0, 0))
        self.camera(1800, 0, (0, 0))
        for x, y, label in (
            (0, -825, "backdrop A"),
            (-560, 560, "backdrop B"),
            (0, 1930, "camera place 1"),
            (1620, 160, "camera place 2"),
            (300, 1000, "1.5 to 2 m"),
            (1000, -100, "1.5 to 2 m"),
            (mat[-1][2] + 120, mat[-1][3] - 30, "mat"),
            (-360, -625, "other foot"),
        ):
            self.words(x, y, label)
        self.words(1200, -400, _BESIDE_THE_PLAN)

    def panel(self, width_mm: float, pages: Point) -> None:
        """Draw one backdrop of five pages from the front."""
        half, height = width_mm / 2, 1200.0
        short, long = pages
        self.rectangle(-half, 0, half, height, 232)
        for left, name in ((-half, "left"), (half - short, "right")):
            for bottom, row in ((60.0, "lower"), (height - long - 170.0, "upper")):
                self.rectangle(left, bottom, left + short, bottom + long)
                self.words(left + short / 2, bottom + long / 2 + 35.0, f"{row}\n{name}", 7)
        self.rectangle(-long / 2, height - short, long / 2, height)
        self.words(0, height - short / 2, "top", 7)
        self.words(0, height / 2, "empty", 8)
        self.words(0, height + 75, "Backdrop, from the front", 9, "B")

    def mat_pages(self, pages: Point) -> None:
        """Draw the three pages of the mat from above, larger than in the plan."""
        for (left, bottom, right, top), name in zip(
            _mat_pages(pages), ("left", "middle", "right"), strict=True
        ):
            self.rectangle(left, bottom, right, top)
            self.words((left + right) / 2, bottom - 35, name, 7)
        self.foot(0, -70, 205)
        self.words(0, 110, "toes", 7)
        self.words(0, pages[1] - pages[0] / 2 + 50, "Mat, from above", 9, "B")


def _mat_pages(pages: Point) -> list[tuple[float, float, float, float]]:
    """Return left, bottom, right, top of the mat's three pages, the middle one (landscape) at the origin."""
    short, long = pages
    bottom = -short / 2
    return [
        (-long / 2 - short, bottom, -long / 2, bottom + long),
        (-long / 2, bottom, long / 2, bottom + short),
        (long / 2, bottom, long / 2 + short, bottom + long),
    ]
