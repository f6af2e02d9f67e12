"""What all PDFs of ours have in common: millimetres, the typeface, title, language and maker."""

from __future__ import annotations

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences

from digitise import __version__, fonts

FONT = "digitise"
AT_FULL_SIZE = "Print at 100 % (actual size, no “fit to page”)."


def dress(document: FPDF, title: str) -> None:
    """Give a document its typeface and what a reader's program shows of it."""
    document.c_margin = 0
    document.add_font(FONT, "", fonts.REGULAR)
    document.add_font(FONT, "B", fonts.BOLD)
    document.set_title(title)
    document.set_lang("en")
    document.set_creator(f"digitise {__version__}")


def true_size_document(title: str) -> FPDF:
    """Return an empty document in mm, without margins, that asks the printer not to scale."""
    document = FPDF(unit="mm")
    document.set_auto_page_break(False)
    document.set_margin(0)
    dress(document, title)
    document.viewer_preferences = ViewerPreferences(print_scaling="None")
    return document
