"""The page that tells how both legs are photographed at once, and below that four photographs of one."""

from __future__ import annotations

from digitise.capture.sheets.instructions import Drawing, set_page
from digitise.capture.sheets.instructions_four import tell_four_photos
from digitise.paper import Paper
from digitise.pdf import Document

_STEPS = (
    (
        "Place",
        "Mat and backdrop A as for one leg. Backdrop B on something light that can be carried, such as a "
        "board or a stiff sheet of card; or three walls of a narrow room, the pages of B moved.",
    ),
    (
        "Stand",
        "Both feet on the mat, a hand's breadth or more apart, one half a step before the other, toes along "
        "the arrow; on home-printed pages one foot on the left page and one on the right. Air between the "
        "legs up to as high as you measure, as far as the thighs allow. Nobody moves until the third "
        "photograph is taken.",
    ),
    (
        "Photograph",
        "1 from the front. 2 from the left, backdrop B beyond the legs. Carry B to the other side. 3 from "
        "the right. Phone and light as for one leg; in every picture the mat, both legs and the backdrop "
        "behind them. One from above shows both feet.",
    ),
    (
        "Tape",
        "About five girths of each leg, heights from the mat, in one list for each.",
    ),
)
_SKIN = 205


def add_both_instructions(document: Document, paper: Paper) -> None:
    """Append the page, on A4 or Letter; the set for a roll gets an A4 page."""
    width, y = set_page(document, paper, "Both legs at once", _STEPS)
    _from_above(Drawing(document, (width / 2, y + 78.0), 1 / 22))
    tell_four_photos(document, width, y + 124.0)


def _from_above(drawing: Drawing) -> None:
    """Draw both feet on the mat, the backdrops and the three camera places; toes up."""
    drawing.words(0, 1560, "From above", 10, "B")
    drawing.rectangle(-360, -275, 360, 275, 225)
    drawing.foot(-130, -20, _SKIN)
    drawing.foot(130, -160, _SKIN)
    drawing.rectangle(-450, -720, 450, -690, 90)
    drawing.words(0, -810, "backdrop A")
    drawing.rectangle(690, -450, 720, 450, 90)
    drawing.words(705, 500, "backdrop B, for 2")
    drawing.rectangle(-720, -450, -690, 450)
    drawing.words(-705, 500, "B again, for 3")
    drawing.dashed((-680, -560), (680, -560))
    drawing.words(-560, -620, "carried")
    for number, (x, y) in enumerate(((0, 1300), (-1500, 0), (1500, 0)), start=1):
        drawing.camera(x, y, (0, 0))
        drawing.words(x, y + 140, str(number), 9, "B")
    drawing.dashed((0, 300), (0, 1250))
    drawing.dashed((-1450, 0), (-760, 0))
    drawing.dashed((760, 0), (1450, 0))
    drawing.words(-300, 310, "left leg")
    drawing.words(300, 310, "right leg")
    drawing.words(160, 900, "1.5 to 2 m")
