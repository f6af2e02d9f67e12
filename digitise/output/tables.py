"""Tables as CSV files that spreadsheets open without surprises."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path

from digitise.output.model.form import ModelForm, SectionForm

SECTIONS_FILE = "sections.csv"
Cell = str | int | float | None
_SECTION_COLUMNS = (
    "height_mm",
    "girth_mm",
    "girth_low_mm",
    "girth_high_mm",
    "area_mm2",
    "area_low_mm2",
    "area_high_mm2",
    "width_mm",
    "depth_mm",
    "centre_x_mm",
    "centre_y_mm",
)
# Spreadsheets take text that begins so for a formula and would run it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a comma-separated table (RFC 4180); numbers as they are, None empty, text never a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    for row in (columns, *rows):
        writer.writerow([_harmless(cell) for cell in row])
    return stream.getvalue()


def write_sections(folder: Path, summary: ModelForm) -> None:
    """Write sections.csv: every section of model.json with the 95 % intervals of girth and area.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    text = csv_text(_SECTION_COLUMNS, map(_section_row, summary.sections))
    (folder / SECTIONS_FILE).write_text(text, encoding="utf-8", newline="")


def _section_row(section: SectionForm) -> tuple[float, ...]:
    return (
        section.height_mm,
        section.girth_mm,
        *section.girth_mm_95,
        section.area_mm2,
        *section.area_mm2_95,
        section.width_mm,
        section.depth_mm,
        *section.centre_mm,
    )


def _harmless(cell: Cell) -> Cell:
    """Put an apostrophe before text that a spreadsheet would compute: it then shows as text."""
    if isinstance(cell, str) and cell.lstrip(" ").startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell
