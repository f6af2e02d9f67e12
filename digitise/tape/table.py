"""Reading tape.csv: height and girth in mm or cm, refused with line number and reason."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from digitise.errors import TapeError
from digitise.tape.cells import in_mm, refuse_impossible_girth, shown, split_cells
from digitise.tape.places import is_length, known_places, place_limits, place_name
from digitise.tape.points import known_letters
from digitise.tape.rows import PlaceGirth, TapeRow, TapeTable

SMALLEST_GIRTH_MM = 50.0
LARGEST_GIRTH_MM = 1500.0
LARGEST_FILE = 2**20
MOST_ROWS = 1000
_NUMBER = re.compile(r"[+-]?[0-9]{1,6}([.,][0-9]{0,6})?")
_HEADER = "Begin with the line height_mm,girth_mm or height_cm,girth_cm."


@dataclass(frozen=True)
class _Columns:
    """What the header line says: the separator, and per quantity its column and unit."""

    separator: str
    count: int
    height: tuple[int, str]
    girth: tuple[int, str]
    point: int | None
    place: int | None


def read_tape(path: Path | str, at_least: int = 1) -> tuple[TapeRow, ...]:
    """Read the girths along the limb of a tape.csv file; see :func:`read_tape_table`."""
    return read_tape_table(path, at_least).rows


def read_tape_table(path: Path | str, at_least: int = 1) -> TapeTable:
    """Read a tape.csv file; see :func:`tape_table_from_csv`.

    Raises
    ------
    TapeError
        When the file cannot be opened or is no text, and as :func:`tape_table_from_csv`.
    """
    path = Path(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise TapeError("The file is too large for a tape table.", where=path.name, do=_HEADER)
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise TapeError(
            f"The tape table cannot be opened ({reason}).",
            where=path.name,
            do="Check the file's name and folder.",
        ) from error
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))  # spreadsheets' "Unicode text"
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise TapeError(
            "The file is not plain text.", where=path.name, do="Save it as CSV in UTF-8."
        ) from error
    return tape_table_from_csv(text, path.name, at_least)


def tape_from_csv(text: str, where: str = "tape", at_least: int = 1) -> tuple[TapeRow, ...]:
    r"""Return the girths along the limb of a tape table, lowest first; see :func:`tape_table_from_csv`.

    Examples
    --------
    >>> [row.girth_mm for row in tape_from_csv("height_cm,girth_cm\n10,22.5\n30,31")]
    [225.0, 310.0]
    >>> tape_from_csv("height_mm,girth_mm\n100,22")
    Traceback (most recent call last):
    ...
    digitise.errors.TapeError: tape, line 2: The girth 22 mm is outside 50 to 1500 mm. ...
    """
    return tape_table_from_csv(text, where, at_least).rows


def tape_table_from_csv(text: str, where: str = "tape", at_least: int = 1) -> TapeTable:
    r"""Return all that a tape table holds.

    The header names the columns, in any order: ``height_mm`` or ``height_cm``, ``girth_mm`` or
    ``girth_cm``, and optionally ``point`` (a letter of the girth list) and ``place`` (on foot or hand; such a
    row may leave its height empty).  Text after ``#`` and blank
    lines are skipped.  Columns may be separated by commas, semicolons or tabs; decimal commas are
    accepted with the latter two, where they cannot be taken for a separator.

    Parameters
    ----------
    text
        The file's text.
    where
        The file's name, for messages.
    at_least
        How many girths along the limb the caller needs.

    Raises
    ------
    TapeError
        With the line number, when the header or a row cannot be used: not a number, not positive, two
        rows at one height, a girth outside 50 to 1500 mm, an unknown letter or place, a girth that cannot
        be at its place, a place twice; or with too few rows.

    Examples
    --------
    >>> tape_table_from_csv("height_cm,girth_cm,place\n10,22.5,\n,24.1,ball-of-foot").places
    (PlaceGirth(place='ball-of-foot', girth_mm=241.0, line=3, height_mm=None),)
    """
    lines = _meaningful_lines(text)
    first = next(lines, None)
    if first is None:
        raise TapeError("The tape table is empty.", where=where, do=_HEADER)
    columns = _read_header(first[1], _line(where, first[0]))
    found: list[TapeRow | PlaceGirth] = []
    for number, line in lines:
        if len(found) >= MOST_ROWS:
            raise TapeError(
                f"The table has more than {MOST_ROWS} rows.", where=_line(where, number), do="Keep one visit."
            )
        found.append(_read_row(line, number, columns, _line(where, number)))
    places = [row for row in found if isinstance(row, PlaceGirth)]
    rows = sorted((row for row in found if isinstance(row, TapeRow)), key=lambda row: row.height_mm)
    _refuse_doubles(rows, where)
    _refuse_place_twice(places, where)
    if len(rows) < at_least or not found:
        raise TapeError(
            f"The table has {len(rows)} row{'' if len(rows) == 1 else 's'}"
            f"{' along the limb' if places else ''}; {max(at_least, 1)} or more are needed.",
            where=where,
            do="Add girths at further heights.",
        )
    return TapeTable(tuple(rows), tuple(places))


def _line(where: str, number: int) -> str:
    return f"{where}, line {number}"


def _meaningful_lines(text: str) -> Iterator[tuple[int, str]]:
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    for number, line in enumerate(text.split("\n"), start=1):
        kept = line.split("#", 1)[0]
        if kept.strip(" \t,;\xa0"):
            yield number, kept


def _read_header(line: str, where: str) -> _Columns:
    separator = next((mark for mark in (";", "\t") if mark in line), ",")
    names = [name.lower() for name in split_cells(line, separator, where)]
    while names and not names[-1]:
        names.pop()
    for name in names:
        if re.fullmatch(r"(height|girth)_(mm|cm)|point|place", name) is None:
            raise TapeError(f"The column name {shown(name)} is unknown.", where=where, do=_HEADER)
    if names.count("place") > 1:
        raise TapeError("There is more than one place column.", where=where, do="Keep one.")
    return _Columns(
        separator,
        len(names),
        _find(names, "height", where),
        _find(names, "girth", where),
        names.index("point") if "point" in names else None,
        names.index("place") if "place" in names else None,
    )


def _find(names: list[str], quantity: str, where: str) -> tuple[int, str]:
    found = [(index, name[-2:]) for index, name in enumerate(names) if name.startswith(quantity)]
    if len(found) != 1:
        count = "no" if not found else "more than one"
        raise TapeError(f"There is {count} {quantity} column.", where=where, do=_HEADER)
    return found[0]


def _read_row(line: str, number: int, columns: _Columns, where: str) -> TapeRow | PlaceGirth:
    cells = split_cells(line, columns.separator, where)
    while len(cells) > columns.count and not cells[-1]:
        cells.pop()
    if len(cells) > columns.count:
        do = (
            "If these are decimal commas, write points instead, or put ; between the columns."
            if columns.separator == ","
            else "Remove what is too much."
        )
        raise TapeError(f"The line has {len(cells)} entries for {columns.count} columns.", where=where, do=do)
    cells += [""] * (columns.count - len(cells))
    place = _place(cells, columns, where)
    if place:
        return _read_place(place, cells, number, columns, where)
    height = _positive(cells, "height", columns.height, columns, where)
    girth = _positive(cells, "girth", columns.girth, columns, where)
    refuse_impossible_girth(girth, columns.girth[1], (SMALLEST_GIRTH_MM, LARGEST_GIRTH_MM), where)
    return TapeRow(
        in_mm(height, columns.height[1]),
        in_mm(girth, columns.girth[1]),
        number,
        _letter(cells, columns, where),
    )


def _read_place(place: str, cells: list[str], number: int, columns: _Columns, where: str) -> PlaceGirth:
    if _letter(cells, columns, where):
        raise TapeError("The row has a point and a place.", where=where, do="Keep the one that was measured.")
    girth = _positive(cells, "girth", columns.girth, columns, where)
    refuse_impossible_girth(girth, columns.girth[1], place_limits(place), where, *_named(place))
    height = None
    if cells[columns.height[0]]:
        height = in_mm(_positive(cells, "height", columns.height, columns, where), columns.height[1])
    return PlaceGirth(place, in_mm(girth, columns.girth[1]), number, height)


def _named(place: str) -> tuple[str, str]:
    return ("length", f" ({place})") if is_length(place) else ("girth", f" of {place}")


def _place(cells: list[str], columns: _Columns, where: str) -> str:
    cell = "" if columns.place is None else cells[columns.place]
    name = place_name(cell)
    if name and name not in known_places():
        raise TapeError(
            f"The place {shown(cell)} is unknown.",
            where=where,
            do=f"Use one of {', '.join(known_places())}, or give a height and leave it empty.",
        )
    return name


def _positive(
    cells: list[str], quantity: str, column: tuple[int, str], columns: _Columns, where: str
) -> float:
    cell = cells[column[0]]
    if not cell:
        placed = columns.place is not None and quantity == "height"
        do = "Fill it in, or name the place on foot or hand." if placed else "Fill it in or remove the line."
        raise TapeError(f"The {quantity} is missing.", where=where, do=do)
    if _NUMBER.fullmatch(cell) is None or (columns.separator == "," and "," in cell):
        raise TapeError(
            f"The {quantity} {shown(cell)} is not a plain number.",
            where=where,
            do=f"Write the number of {column[1]} alone, without unit or thousands mark.",
        )
    value = float(cell.replace(",", "."))
    if value <= 0:
        raise TapeError(f"The {quantity} {cell} is not above zero.", where=where, do="Measure it again.")
    return value


def _letter(cells: list[str], columns: _Columns, where: str) -> str:
    letter = "" if columns.point is None else cells[columns.point].upper()
    if letter and letter not in known_letters():
        raise TapeError(
            f"The point {shown(letter)} is unknown.",
            where=where,
            do=f"Use one of {', '.join(known_letters())}, or leave it empty.",
        )
    return letter


def _refuse_doubles(rows: list[TapeRow], where: str) -> None:
    for low, high in pairwise(rows):
        if low.height_mm == high.height_mm:
            raise TapeError(
                f"The height {high.height_mm:g} mm is already on line {min(low.line, high.line)}.",
                where=_line(where, max(low.line, high.line)),
                do="Keep one of the two, and check that heights and girths are not in each other's column.",
            )
    lettered = [row for row in rows if row.point]
    for index, row in enumerate(lettered):
        for other in lettered[:index]:
            if other.point == row.point:
                raise TapeError(
                    f"The point {row.point} is already on line {min(other.line, row.line)}.",
                    where=_line(where, max(other.line, row.line)),
                    do="Give each letter once.",
                )


def _refuse_place_twice(places: list[PlaceGirth], where: str) -> None:
    first: dict[str, int] = {}
    for row in places:
        if row.place in first:
            raise TapeError(
                f"The place {row.place} is already on line {first[row.place]}.",
                where=_line(where, row.line),
                do="Give each place once.",
            )
        first[row.place] = row.line
