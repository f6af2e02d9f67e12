"""The page that tells how an arm on a table or a leg on a couch is laid out and photographed."""

from __future__ import annotations

import numpy as np

from digitise.capture.sheets.instructions import MARGIN, Drawing, set_page
from digitise.paper import Paper
from digitise.pdf import Document

_STEPS = (
    (
        "Lay out",
        "One backdrop lies flat on the table or couch. With pages: tape the four corner pages of one "
        "backdrop on a plain cloth of 90 × 120 cm and the three mat pages side by side in place of its top "
        "page. With a roll print: the mat on the backdrop's upper edge. Leave the middle empty.",
    ),
    (
        "Place",
        "The limb stretched over the middle, hand or foot towards the mat but not on it, on two hard "
        "supports, narrower than the limb and 5 to 8 cm high, one near each end. Clothing well above the "
        "limb. An arm palm down or palm up, the same every time; a leg with the kneecap up, the other leg "
        "off the couch.",
    ),
    (
        "Mark",
        "The place from which heights count: crease of the wrist, tip of the elbow, tip of the ankle bone. "
        "Measure the tape rows from there along the limb. In one photograph you will tap this place.",
    ),
    (
        "Photograph",
        "Three times, the phone held crosswise about 1 m away, the whole sheet and the mat in the picture: "
        "slanting from one long side, from straight above, slanting from the other. The part that is "
        "measured lies before the plain middle in all three; else hold the phone higher. The limb keeps "
        "still.",
    ),
    (
        "Hand",
        "If wanted: lay the bare hand on the mat, palm down, fingers a little apart, and photograph it from "
        "above and from low beside it, the mat in both and no other sheet.",
    ),
)
_SKIN, _SUPPORT = 205, 120
_ELEVATIONS = (50.0, 90.0, 130.0)


def add_lying_instructions(document: Document, paper: Paper) -> None:
    """Append the page, on A4 or Letter; the set for a roll gets an A4 page."""
    width, y = set_page(document, paper, "A limb that lies: arm on a table, leg on a couch", _STEPS)
    _from_above(Drawing(document, (MARGIN + 48.0, y + 92.0), 1 / 15), roll=paper == "roll")
    _from_the_end(Drawing(document, (width - MARGIN - 42.0, y + 130.0), 1 / 17))


def _from_above(drawing: Drawing, *, roll: bool) -> None:
    """Draw sheet, mat, supports and an arm as seen from above; the sheet's middle is the origin."""
    drawing.words(0, 850, "From above", 10, "B")
    drawing.rectangle(-450, -600, 450, 600, 235)
    if roll:
        drawing.rectangle(-450, -600, -335, 600)
        drawing.rectangle(335, -600, 450, 600)
        drawing.rectangle(-450, 485, 450, 600)
        drawing.rectangle(-275, 170, 275, 570, 225)
        drawing.words(0, 370, "mat")
    else:
        for left in (-450, 240):
            for bottom in (-540, 133):
                drawing.rectangle(left, bottom, left + 210, bottom + 297)
        for left, right in ((-358, -148), (-148, 148), (148, 358)):
            drawing.rectangle(left, 450, right, 450 + (210 if right == 148 else 297), 225)
        drawing.words(0, 550, "mat")
    drawing.shape(_arm(), _SKIN)
    for along in (-130.0, -480.0):  # under it
        drawing.rectangle(-24, along - 25, 24, along + 25, None)
    drawing.words(150, -300, "empty")
    drawing.words(130, -130, "support")
    drawing.words(0, -660, "trunk")


def _arm() -> list[tuple[float, float]]:
    """Return the outline of an arm with its hand, mm, hand towards the mat."""
    half = [(0, 110), (16, 105), (28, 60), (40, 10), (40, -40), (28, -85), (36, -150), (45, -240), (43, -330)]
    half += [(50, -420), (54, -520), (56, -620)]
    right = [(float(x), float(y)) for x, y in half]
    return [*right, *((-x, y) for x, y in reversed(right))]


def _from_the_end(drawing: Drawing) -> None:
    """Draw the three camera places as seen from the person's end; the table's middle is the origin."""
    drawing.words(0, 1480, "From the end", 10, "B")
    drawing.rectangle(-600, -40, 600, 0, 235)
    drawing.words(0, -110, "sheet on the table")
    drawing.rectangle(-35, 0, 35, 60, _SUPPORT)
    around = np.radians(np.arange(0, 360, 15))
    drawing.shape([(52 * float(np.cos(a)), 108 + 48 * float(np.sin(a))) for a in around], _SKIN)
    for number, elevation in enumerate(_ELEVATIONS, start=1):
        angle = np.radians(elevation)
        x, y = 1050 * float(np.cos(angle)), 110 + 1050 * float(np.sin(angle))
        drawing.dashed((0, 110), (0.92 * x, 110 + 0.92 * (y - 110)))
        drawing.camera(x, y, (0, 110))
        drawing.words(x, y + 90, str(number), 9, "B")
    drawing.words(330, 420, "about 1 m")
