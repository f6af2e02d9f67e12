"""The first page of the foam: where each piece goes."""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO

from PIL import Image

from digitise.pdf import FONT, Document

TITLE = "Where the foam goes"
_EDGE_MM, _LINE_MM, _GAP_MM = 10.0, 5.0, 4.0
# The picture takes no more than this share of the page's height.
_MOST = 0.55


def add_overview(
    document: Document,
    paper: tuple[float, float],
    picture: bytes,
    pieces: Sequence[str],
    who: str,
    safety: Sequence[str] = (),
) -> None:
    """Add a page with the limb and a line for each piece.

    Parameters
    ----------
    document
        What to add it to.
    paper
        Width and height of the page, mm.
    picture
        The limb with its places numbered, PNG.
    pieces
        What each piece is, in the order of their numbers from 1.
    who
        The client's code and the day; may be empty.
    safety
        What is open about the client, the most urgent first.
    """
    document.add_page(format=paper)
    document.set_font(FONT, "B", 13)
    document.text(_EDGE_MM, _EDGE_MM + 4.0, f"{TITLE}  {who}".strip())
    with Image.open(BytesIO(picture)) as image:
        across, tall = image.size
    room = paper[0] - 2 * _EDGE_MM
    width = min(room, _MOST * paper[1] * across / tall)
    document.set_xy(_EDGE_MM, _EDGE_MM + 8.0)
    document.set_font(FONT, "B", 9)
    for line in safety:
        document.set_x(_EDGE_MM)
        document.multi_cell(room, _LINE_MM, line, align="L", new_x="LMARGIN", new_y="NEXT")
    top = document.y
    document.image(BytesIO(picture), x=_EDGE_MM, y=top, w=width)
    document.set_xy(_EDGE_MM, top + width * tall / across + _GAP_MM)
    document.set_font(FONT, "", 9)
    for number, words in enumerate(pieces, start=1):
        document.set_x(_EDGE_MM)
        document.multi_cell(
            room, _LINE_MM, f"Foam {number}. {words}", align="L", new_x="LMARGIN", new_y="NEXT"
        )
