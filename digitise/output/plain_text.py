"""Plain text: titled lists, wrapped; and the caution that lies beside every picture and table."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from pathlib import Path

from digitise.words import remark, shown

WIDTH = 96
CAUTION_FILE = "caution.txt"


def section(title: str, items: Iterable[str]) -> str:
    """Return a title and its items below it, wrapped, in the reader's language; empty without items."""
    told = map(shown, items)
    lines = [textwrap.fill(item, WIDTH, initial_indent="  ", subsequent_indent="    ") for item in told]
    return "\n".join([shown(title), *lines]) if lines else ""


def page(*parts: str) -> str:
    """Return the parts that are not empty, a blank line between them."""
    return "\n\n".join(part for part in parts if part) + "\n"


def write_caution(folder: Path, words: Iterable[str]) -> None:
    """Write caution.txt, for who sees a picture or table without the rest.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    told = section("Caution", (*words, *filter(None, (remark(),))))
    (folder / CAUTION_FILE).write_text(told + "\n", encoding="utf-8")
