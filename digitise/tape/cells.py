"""Cells of a tape table: cut apart, turned into mm, refused, and shown in messages."""

from __future__ import annotations

import csv

from digitise.errors import TapeError

_MM = {"mm": 1.0, "cm": 10.0}
_AGAIN = "Measure it again."


def split_cells(line: str, separator: str, where: str) -> list[str]:
    """Return the cells of a line, without spaces at their ends.

    Raises
    ------
    TapeError
        A quotation mark is not closed.
    """
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True, skipinitialspace=True))
    except (csv.Error, StopIteration) as error:
        raise TapeError(
            "The line has a quotation mark without its partner.", where=where, do="Remove it."
        ) from error
    return [cell.strip() for cell in cells]


def in_mm(value: float, unit: str) -> float:
    """Return a length in mm, given in mm or cm."""
    # rounded, so that 32.3 cm and 323 mm are the same number
    return round(value * _MM[unit], 6)


def refuse_impossible_girth(
    value: float, unit: str, limits: tuple[float, float], where: str, what: str = "girth", of: str = ""
) -> None:
    """Refuse a girth, or what it is of, outside the limits (mm), and say which unit was perhaps meant.

    Raises
    ------
    TapeError
        It lies outside.
    """
    girth = in_mm(value, unit)
    low, high = limits
    if low <= girth <= high:
        return
    meant = [
        name
        for name, factor in (("mm", 1.0), ("cm", 10.0), ("inches", 25.4))
        if name != unit and low <= value * factor <= high
    ]
    advice = f"{value:g} fits as {' or as '.join(meant)}: check the unit in the header." if meant else _AGAIN
    raise TapeError(
        f"The {what} {girth:g} mm{of} is outside {low:g} to {high:g} mm.",
        where=where,
        do=advice,
    )


def shown(cell: str) -> str:
    """Return a cell for a message: quoted, printable, of bounded length."""
    kept = "".join(c if c.isprintable() else "?" for c in cell[:30])
    return f"'{kept}{'...' if len(cell) > 30 else ''}'"
