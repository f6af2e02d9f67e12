"""Tables as CSV files that spreadsheets open without surprises."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence

Cell = str | int | float | None
# Spreadsheets take text that begins so for a formula and would run it.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_text(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """Return a comma-separated table (RFC 4180); numbers as they are, None empty, text never a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    for row in (columns, *rows):
        writer.writerow([harmless(cell) for cell in row])
    return stream.getvalue()


def harmless(cell: Cell) -> Cell:
    """Return a cell, an apostrophe before text that a spreadsheet would compute: it then shows as text."""
    if isinstance(cell, str) and cell.lstrip(" ").startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell
