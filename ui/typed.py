"""Tape rows as they are typed: read to the letter, refused beside the cell; no Streamlit here."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from digitise.errors import DigitiseError
from digitise.tape.rows import TapeRow
from digitise.tape.table import LARGEST_GIRTH_MM, SMALLEST_GIRTH_MM, tape_from_csv
from digitise.words import shown
from ui.inputs import Rows
from ui.lengths import CM, INCH, Unit
from ui.spoken import text

HIGHEST_MM = 1300.0
"""From the floor to the groin of the tallest adults is about 1.1 m (common practice); arms are shorter."""

NUMBER = re.compile(r"[0-9]{1,5}([.,][0-9]{0,4})?")
"""What is typed for a length."""


@dataclass(frozen=True)
class TypedTape:
    """Typed rows, read.

    Attributes
    ----------
    rows
        Those that can be used, lowest first; they know the row they were typed into, and no line of a file.
    trouble
        By index of a typed row, why it cannot be used.
    """

    rows: tuple[TapeRow, ...]
    trouble: Mapping[int, str]


def index_of(row: TapeRow) -> int:
    """Return which typed row (from 0) a row was read from."""
    return row.typed - 1


def read_typed(typed: Rows, unit: Unit) -> TypedTape:
    """Read typed rows as a tape.csv would be read, so that the page and the command line agree.

    Parameters
    ----------
    typed
        (height, girth) per row as typed; empty where nothing was.
    unit
        What the numbers are in.
    """
    lines, trouble, seen = ["height_mm,girth_mm"], dict[int, str](), dict[float, int]()
    for index, cells in enumerate(typed):
        height, girth = (cell.strip() for cell in cells)
        lines.append("")
        if not height and not girth:
            continue
        words = _height_trouble(height, unit) or _girth_trouble(girth, unit)
        if not words:
            at = mm_of(height, unit)
            line = f"{at:.10g},{mm_of(girth, unit):.10g}"
            words = text.ROW_TWICE.format(seen[at] + 1) if at in seen else _refusal(line)
            if not words:
                seen[at] = index
                lines[-1] = line
        if words:
            trouble[index] = words
    usable = any(lines[1:])
    read = tape_from_csv("\n".join(lines)) if usable else ()
    # the head is the first line
    return TypedTape(tuple(replace(row, line=0, typed=row.line - 1) for row in read), trouble)


def mm_of(cell: str, unit: Unit) -> float:
    """Return a typed number in mm; a decimal comma is a decimal point."""
    return round(float(cell.replace(",", ".")) * unit.mm, 6)


def as_typed(mm: float, unit: Unit) -> str:
    """Return a length as somebody would type it."""
    return f"{round(unit.of(mm), 2):.10g}"


def converted(typed: Rows, before: Unit, wanted: Unit) -> Rows:
    """Return rows typed in one unit as they read in another; what is no number stays as it is."""
    return tuple(
        (_converted(high, before, wanted), _converted(girth, before, wanted)) for high, girth in typed
    )


def _converted(cell: str, before: Unit, wanted: Unit) -> str:
    if before == wanted or NUMBER.fullmatch(cell.strip()) is None:
        return cell
    return as_typed(mm_of(cell.strip(), before), wanted)


def _height_trouble(cell: str, unit: Unit) -> str:
    if not cell:
        return text.ROW_HEIGHT_MISSING
    if NUMBER.fullmatch(cell) is None:
        return text.ROW_NO_NUMBER.format(cell)
    height = mm_of(cell, unit)
    if height <= 0:
        return text.ROW_HEIGHT_ZERO
    if height > HIGHEST_MM:
        return text.ROW_HEIGHT_TOO_HIGH.format(f"{cell} {unit.name}") + _other_unit(
            cell, unit, 0.0, HIGHEST_MM
        )
    return ""


def _girth_trouble(cell: str, unit: Unit) -> str:
    if not cell:
        return text.ROW_GIRTH_MISSING
    if NUMBER.fullmatch(cell) is None:
        return text.ROW_NO_NUMBER.format(cell)
    girth = mm_of(cell, unit)
    if SMALLEST_GIRTH_MM <= girth <= LARGEST_GIRTH_MM:
        return ""
    words = text.ROW_GIRTH_OUTSIDE.format(unit.number(SMALLEST_GIRTH_MM, 0), unit.words(LARGEST_GIRTH_MM, 0))
    return words + _other_unit(cell, unit, SMALLEST_GIRTH_MM, LARGEST_GIRTH_MM)


def _other_unit(cell: str, unit: Unit, low: float, high: float) -> str:
    """Return a question whether another unit was meant, empty when no other would do."""
    number = float(cell.replace(",", "."))
    others = {"mm": 1.0, CM.name: CM.mm, INCH.name: INCH.mm}
    for name, mm in others.items():
        if name != unit.name and low <= number * mm <= high:
            return " " + text.ROW_MEANT.format(f"{cell} {name}", unit.words(number * mm))
    return ""


def _refusal(line: str) -> str:
    try:
        tape_from_csv(f"height_mm,girth_mm\n{line}", at_least=0)
    except DigitiseError as error:
        return shown(f"{error.what} {error.do}".strip())
    return ""


def rows_in_trouble(tape: TypedTape) -> Sequence[int]:
    """Return the numbers (from 1) of the rows that cannot be used."""
    return [index + 1 for index in sorted(tape.trouble)]
