"""The page that tells how a forearm that stands on its elbow is set up and photographed."""

from __future__ import annotations

from digitise.capture.sheets.instructions import MARGIN, Drawing, set_page
from digitise.paper import Paper
from digitise.pdf import Document

_STEPS = (
    (
        "Lay out",
        "The mat lies on a table, its upper edge 20 to 40 cm before a backdrop that stands on the table or "
        "close behind it, so that it is seen down to the mat. The second backdrop stands to the side, as "
        "for a leg; with one backdrop, mat and arm are turned together by a quarter turn between the "
        "photographs.",
    ),
    (
        "Place",
        "The person sits beside the table. The elbow stands in the middle of the mat, the forearm upright, "
        "the hand up and open, palm towards the mat's upper edge, the same every time. Sleeve above the "
        "elbow; the other hand and arm out of the picture. The upper arm leads away, not before the "
        "backdrop.",
    ),
    (
        "Tape",
        "Heights count from the mat. Measure the rows with the arm as it stands, from about 5 cm above the "
        "mat to the wrist.",
    ),
    (
        "Photograph",
        "Two, from the front and from the side, as for a leg: the phone held upright, level with the middle "
        "of the forearm, 0.8 to 1 m away, the whole mat and the backdrop behind the whole forearm in the "
        "picture. The arm keeps still.",
    ),
)
_SKIN = 205


def add_upright_instructions(document: Document, paper: Paper) -> None:
    """Append the page, on A4 or Letter; the set for a roll gets an A4 page."""
    _, y = set_page(document, paper, "A forearm that stands on its elbow", _STEPS)
    _from_the_side(Drawing(document, (MARGIN + 70.0, y + 92.0), 1 / 12))
    _from_above(Drawing(document, (MARGIN + 70.0, y + 150.0), 1 / 20))


def _from_the_side(drawing: Drawing) -> None:
    """Draw table, backdrop, arm and phone; the mat's middle is the origin."""
    drawing.words(60, 1010, "From the side", 10, "B")
    drawing.rectangle(-620, -40, 900, 0, 235)
    drawing.words(120, -110, "table")
    drawing.rectangle(-500, 0, -470, 900, 90)
    drawing.words(-485, 950, "backdrop")
    drawing.rectangle(-275, 0, 275, 8, 225)
    drawing.words(190, 50, "mat")
    drawing.shape(_forearm(), _SKIN)
    drawing.rectangle(770, 100, 800, 260, 60)
    drawing.dashed((60, 180), (760, 180))
    drawing.words(430, 210, "0.8 to 1 m")
    drawing.words(785, 310, "phone")


def _forearm() -> list[tuple[float, float]]:
    """Return the outline of a forearm with its hand up, mm, the elbow on the mat."""
    half = [(34.0, 8.0), (46.0, 40.0), (48.0, 90.0), (42.0, 150.0), (30.0, 215.0), (27.0, 240.0)]
    half += [(40.0, 275.0), (42.0, 320.0), (34.0, 380.0), (18.0, 425.0), (0.0, 432.0)]
    return [*half, *((-x, y) for x, y in reversed(half[:-1]))]


def _from_above(drawing: Drawing) -> None:
    """Draw the set-up from above: both backdrops, the mat and both camera places."""
    drawing.words(0, 820, "From above", 10, "B")
    drawing.rectangle(-200, -275, 200, 275, 225)
    drawing.shape([(40.0, 0.0), (0.0, 46.0), (-40.0, 0.0), (0.0, -46.0)], _SKIN)
    drawing.rectangle(-450, -560, 450, -530, 90)
    drawing.rectangle(-580, -450, -550, 450, 90)
    drawing.camera(0, 900 - 280, (0, 0))
    drawing.camera(900 - 280, 0, (0, 0))
    drawing.dashed((0, 60), (0, 580))
    drawing.dashed((60, 0), (580, 0))
    drawing.words(0, 700, "1", 9, "B")
    drawing.words(700, 0, "2", 9, "B")
    drawing.words(0, -640, "backdrop A")
    drawing.words(-560, 520, "backdrop B")
    drawing.words(120, 220, "mat")
