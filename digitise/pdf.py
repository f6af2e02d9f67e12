"""What all PDFs of ours have in common: millimetres, the typeface, the reader's language, title and maker."""

from __future__ import annotations

from typing import Any

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences

from digitise import __version__, fonts
from digitise.words import language, remark, shown

FONT = "digitise"
AT_FULL_SIZE = "Print at 100 % (actual size, no “fit to page”)."


class Document(FPDF):
    """A document whose words, given in English, are set and measured in the reader's language."""

    def text(self, x: float, y: float, text: str = "") -> None:
        """Set one line."""
        super().text(x, y, shown(text))

    def cell(self, w: Any = None, h: Any = None, text: str = "", *args: Any, **options: Any) -> bool:
        """Set one line in a box."""
        return super().cell(w, h, shown(text), *args, **options)

    def multi_cell(self, w: float, h: Any = None, text: str = "", *args: Any, **options: Any) -> Any:
        """Set lines in a box."""
        return super().multi_cell(w, h, shown(text), *args, **options)

    def get_string_width(self, s: str, *args: Any, **options: Any) -> float:
        """Return how wide one line is, mm."""
        return super().get_string_width(shown(s), *args, **options)

    def start_section(self, name: str, *args: Any, **options: Any) -> None:
        """Begin a part that the reader's program lists."""
        super().start_section(shown(name), *args, **options)

    def set_title(self, title: str) -> None:
        """Name the document."""
        super().set_title(shown(title))

    def image(self, name: Any, *args: Any, **options: Any) -> Any:
        """Place a picture; its words are read out to who cannot see it."""
        if options.get("alt_text"):
            options["alt_text"] = shown(options["alt_text"])
        return super().image(name, *args, **options)

    def remark(self, x: float, y: float) -> None:
        """Write what a reader has to know of the translation; nothing where there is nothing to know."""
        if remark():
            self.set_font(FONT, "", 7)
            super().text(x, y, remark())


def dress(document: Document, title: str) -> None:
    """Give a document its typeface and what a reader's program shows of it."""
    document.c_margin = 0
    document.add_font(FONT, "", fonts.REGULAR)
    document.add_font(FONT, "B", fonts.BOLD)
    document.set_title(title)
    document.set_lang(language())
    document.set_creator(f"digitise {__version__}")


def true_size_document(title: str) -> Document:
    """Return an empty document in mm, without margins, that asks the printer not to scale."""
    document = Document(unit="mm")
    document.set_auto_page_break(False)
    document.set_margin(0)
    dress(document, title)
    document.viewer_preferences = ViewerPreferences(print_scaling="None")
    return document
