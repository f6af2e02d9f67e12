"""One page for the client to take home: when the wrap comes off, whom to call, how to care for the skin."""

from __future__ import annotations

from io import BytesIO

from PIL import Image

from digitise.anatomy import LimbKind
from digitise.care.wrap.follow import WrapStep
from digitise.errors import PlanError
from digitise.paper import PAGE_MM
from digitise.pdf import FONT, Document, true_size_document

TITLE = "Your wrap at home"
TAKE_OFF = (
    "it hurts",
    "{ends} tingle or are numb",
    "{ends} turn blue, white or cold",
)
CALL_TODAY = (
    "the skin turns red and hot, or you have fever or shivering",
    "the limb swells suddenly, or your calf hurts",
    "the skin is open or leaks",
)
EMERGENCY = "Chest pain, no breath, coughing blood or fainting: call the emergency number at once."
SKIN = ("Wash and dry the skin, also between {ends}.", "Put cream on when the wrap is off.")
_BLANKS = ("Whom to call:", "Telephone:", "Wear it until:", "Next visit:")
_EDGE_MM, _BLANK_MM = 15.0, 11.0
_BAR_MM, _STRIP_MM = 6.0, 60.0
_PICTURE_MM = 84.0
# From light to dark, so that layers can be told apart without colour.
_GREYS = (235, 200, 165, 130, 95)


def home_card(
    steps: tuple[WrapStep, ...], limb: LimbKind, *, paper: str = "a4", picture: bytes = b""
) -> bytes:
    """Return the card as a PDF of one page; what only the clinic knows is left blank to fill in.

    Parameters
    ----------
    steps
        The layers, from the skin outward.
    limb
        ``leg`` or ``arm``.
    paper
        ``a4`` or ``letter``.
    picture
        The layers on the limb, PNG; without it they are bars.

    Raises
    ------
    PlanError
        The paper is unknown, or there is no layer.
    """
    if paper not in PAGE_MM:
        raise PlanError(f"The card is printed on a4 or letter, not {paper!r}.", do="Choose one of the two.")
    if not steps:
        raise PlanError("There is no layer to show.", do="Plan the wrap first.")
    ends = "toes" if limb == LimbKind.LEG else "fingers"
    document = true_size_document(TITLE)
    document.set_auto_page_break(False)
    document.add_page(format=PAGE_MM[paper])
    document.set_xy(_EDGE_MM, _EDGE_MM)
    document.set_font(FONT, "B", 22)
    document.cell(0, 12, TITLE, new_x="LMARGIN", new_y="NEXT")
    if picture:
        _picture(document, picture)
    else:
        _layers(document, steps, "foot" if limb == LimbKind.LEG else "hand")
    _words(document, "Take the wrap off at once when", [line.format(ends=ends) for line in TAKE_OFF])
    _words(document, "Then, and also when one of these comes, call today", CALL_TODAY)
    _words(document, EMERGENCY, ())
    _words(document, "Your skin", [line.format(ends=ends) for line in SKIN])
    _words(document, "Move the limb in the wrap, and raise it when you rest.", ())
    document.set_font(FONT, "", 13)
    for blank in _BLANKS:
        y = document.get_y() + _BLANK_MM
        document.text(_EDGE_MM, y, blank)
        document.line(_EDGE_MM + 45, y + 0.5, PAGE_MM[paper][0] - _EDGE_MM, y + 0.5)
        document.set_y(y)
    document.remark(_EDGE_MM, PAGE_MM[paper][1] - _EDGE_MM / 2)
    return bytes(document.output())


def _words(document: Document, title: str, lines: tuple[str, ...] | list[str]) -> None:
    width = document.w - 2 * _EDGE_MM
    document.set_font(FONT, "B", 14)
    document.set_x(_EDGE_MM)
    document.multi_cell(width, 7, title, align="L", new_x="LMARGIN", new_y="NEXT")
    document.set_font(FONT, "", 13)
    for line in lines:
        document.set_x(_EDGE_MM + 4)
        document.multi_cell(width - 4, 6.5, f"•  {line}", align="L", new_x="LMARGIN", new_y="NEXT")
    document.set_y(document.get_y() + 3)


def _picture(document: Document, picture: bytes) -> None:
    """Draw the layers as wide as the page, or as tall as leaves room for the words."""
    with Image.open(BytesIO(picture)) as image:
        across, tall = image.size
    room = document.w - 2 * _EDGE_MM
    width = min(room, _PICTURE_MM * across / tall)
    y = document.get_y() + 2
    document.image(BytesIO(picture), x=_EDGE_MM + (room - width) / 2, y=y, w=width)
    document.set_y(y + width * tall / across + 3)


def _layers(document: Document, steps: tuple[WrapStep, ...], end: str) -> None:
    """Draw each layer as a bar as long as it reaches, the one on the skin lowest."""
    low, high = min(step.from_cm for step in steps), max(step.to_cm for step in steps)
    width, top = document.w - 2 * _EDGE_MM - _STRIP_MM, document.get_y() + 2
    document.set_font(FONT, "", 11)
    for number, step in enumerate(reversed(steps)):
        y = top + number * (_BAR_MM + 1)
        start = (step.from_cm - low) / (high - low) * width
        length = (step.to_cm - step.from_cm) / (high - low) * width
        document.set_fill_color(_GREYS[(step.number - 1) % len(_GREYS)])
        document.rect(_EDGE_MM + _STRIP_MM + start, y, length, _BAR_MM, style="DF")
        document.text(_EDGE_MM, y + _BAR_MM - 1.5, f"{step.number}  {step.name or step.kind}")
    y = top + len(steps) * (_BAR_MM + 1) + 4
    document.text(_EDGE_MM + _STRIP_MM, y, end)
    words = "towards the trunk"
    document.text(document.w - _EDGE_MM - document.get_string_width(words), y, words)
    document.set_y(y + 4)
