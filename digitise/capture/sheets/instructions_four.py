"""The lower half of a page: how four photographs of one leg are taken, for the change from week to week."""

from __future__ import annotations

import numpy as np

from digitise.capture.sheets.instructions import MARGIN, Drawing, set_step
from digitise.capture.sheets.printing import foot_outline
from digitise.pdf import FONT, Document

_STEPS = (
    (
        "Two",
        "The two photographs of one leg, from the front and from its outer side.",
    ),
    (
        "Turn",
        "Mat, foot and person together by an eighth of a turn (home-printed pages on a board of card, not on "
        "the floor). The other foot so that wall shows on both sides of the leg.",
    ),
    (
        "Two more",
        "From the same two places. With one backdrop and one place: four, turned by an eighth each time.",
    ),
)
_SKIN = 205


def tell_four_photos(document: Document, width: float, y: float) -> None:
    """Tell below ``y``, mm down the page, how four photographs of one leg are taken."""
    document.set_text_color(0)
    document.set_font(FONT, "B", 13)
    document.text(MARGIN, y + 4.0, "Sharper from week to week: four photographs")
    beside = 44.0
    at = y + 11.0
    for number, (name, words) in enumerate(_STEPS, start=1):
        at = set_step(document, (MARGIN, at), width - 2 * MARGIN - beside, (f"{number}  {name}", words))
    _eighth(Drawing(document, (width - MARGIN - beside / 2, y + 31.0), 1 / 24))


def _eighth(drawing: Drawing) -> None:
    """Draw mat and foot as they were and an eighth of a turn further on, toes up before."""
    corners = np.array([(-200.0, -275.0), (200.0, -275.0), (200.0, 275.0), (-200.0, 275.0)])
    sole = np.add(foot_outline()[::4], (0.0, -85.0))
    turn = np.array([[1.0, 1.0], [-1.0, 1.0]]) / np.sqrt(2.0)
    for shape, grey in ((corners, 235), (sole, 255), (corners @ turn, None), (sole @ turn, _SKIN)):
        drawing.shape([(float(x), float(y)) for x, y in shape], grey)
    drawing.words(0, 460, "45°", 9, "B")
