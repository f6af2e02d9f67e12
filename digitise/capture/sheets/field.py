"""The marker field: which marker sits where on which board (field.json).

A value (:class:`MarkerField`), and the border where files become values.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError
from pydantic_core import ErrorDetails, from_json

from digitise.capture.sheets.field_form import (
    FORMAT,
    PRINT_AGAIN,
    BoardForm,
    FieldForm,
    Role,
    contradictions,
    printable,
)
from digitise.errors import FieldError, OutputError
from digitise.geometry.rigid import Array

_BYTES_MAX = 2_000_000  # the largest dictionary, with every number on a line of its own, stays below


@dataclass(frozen=True)
class Board:
    """One rigid sheet of markers.

    Board frame: origin at the sheet's centre, x right and y up as printed is read, z out of the paper.

    Attributes
    ----------
    name
        Unique in its field.
    role
        ``mat`` (the limb stands on it) or ``backdrop``.
    size
        (2,) width and height of the sheet, mm.
    ids
        Marker ids, in the order of ``corners``.
    corners
        (n, 4, 2) marker corners in mm: top-left, top-right, bottom-right, bottom-left as printed.
    """

    name: str
    role: Role
    size: Array
    ids: tuple[int, ...]
    corners: Array


@dataclass(frozen=True)
class MarkerField:
    """All boards of one set of sheets; only geometry within a board is known.

    Attributes
    ----------
    dictionary
        Name of OpenCV's marker dictionary.
    boards
        At least one of them a mat; the first mat is the world frame.
    """

    dictionary: str
    boards: tuple[Board, ...]

    @property
    def mat(self) -> Board:
        """The board whose frame is the world: the first with the role ``mat``."""
        return next(board for board in self.boards if board.role == "mat")


# ---------------------------------------------------------------- reading


def read_field(path: str | Path) -> MarkerField:
    """Read a field.json.

    Raises
    ------
    FieldError
        The file is missing, damaged, contradictory or of another format; names file, board and marker.
    """
    where = str(path)
    try:
        if not Path(path).is_file():
            raise FieldError("There is no such file.", where=where, do="Check the name after --field.")
        with Path(path).open("rb") as stream:
            content = stream.read(_BYTES_MAX + 1)
    except (OSError, ValueError) as error:
        raise FieldError(f"The file cannot be read ({error}).", where=where, do=PRINT_AGAIN) from error
    return field_from_json(content, where)


def field_from_json(text: str | bytes, where: str) -> MarkerField:
    """Turn the text of a field.json into a checked field.

    Parameters
    ----------
    text
        The file's content.
    where
        The file's name, for messages.

    Raises
    ------
    FieldError
        With the file, the board and the marker concerned.
    """
    form = _parse(text, where)
    for problem in contradictions(form):
        raise FieldError(problem.what, where=f"{where}{problem.place}", do=problem.do)
    return MarkerField(form.dictionary, tuple(_board(board) for board in form.boards))


def _parse(text: str | bytes, where: str) -> FieldForm:
    content = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    if len(content) > _BYTES_MAX:
        raise FieldError("The file is too large for a marker field.", where=where, do=PRINT_AGAIN)
    try:
        # editors on Windows put a byte-order mark in front
        data = from_json(content.removeprefix(b"\xef\xbb\xbf"))
    except ValueError as error:
        raise FieldError(f"The file is not JSON ({error}).", where=where, do=PRINT_AGAIN) from error
    try:
        return FieldForm.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        what = f"{_item(first['loc'])} {_complaint(first)}."
        raise FieldError(what, where=where + _place(data, first["loc"]), do=PRINT_AGAIN) from error


def _item(loc: tuple[int | str, ...]) -> str:
    words = [part for part in loc if isinstance(part, str)]
    return f'"{words[-1]}"' if words else "The content"


def _complaint(error: ErrorDetails) -> str:
    if error["type"] == "missing":
        return "is missing"
    if error["type"] == "model_type":
        return "is wrong: it should be an object in braces"
    message = error["msg"].replace(" after validation", "")
    return f"is wrong: {message[:1].lower()}{message[1:]}"


def _place(data: Any, loc: tuple[int | str, ...]) -> str:
    """Name the board and marker at ``loc`` by what the damaged file itself calls them."""
    place = ""
    for kind, label, depth in (("board", "name", 1), ("marker", "id", 3)):
        if len(loc) > depth and loc[depth - 1] == f"{kind}s":
            data, number = data[f"{kind}s"][loc[depth]], int(loc[depth]) + 1
            own = data.get(label) if isinstance(data, dict) else None
            place += f", {kind} {printable(own) or f'number {number}'}"
    return place


def _board(form: BoardForm) -> Board:
    corners = np.array([marker.corners for marker in form.markers], dtype=np.float64)
    size = np.array(form.size, dtype=np.float64)
    for array in (corners, size):
        array.setflags(write=False)
    return Board(form.name, form.role, size, tuple(marker.id for marker in form.markers), corners)


# ---------------------------------------------------------------- writing


def write_field(field: MarkerField, path: str | Path) -> None:
    """Write a field.json, one marker a line; :func:`read_field` gives the same field back.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    try:
        Path(path).write_text(field_to_json(field), encoding="utf-8")
    except OSError as error:
        raise OutputError(
            f"The marker field cannot be written ({error.strerror}).",
            where=str(path),
            do="Choose another folder.",
        ) from error


def field_to_json(field: MarkerField) -> str:
    """Return the text of the field's field.json, coordinates rounded to 0.1 µm."""
    boards = ",\n".join(_board_to_json(board) for board in field.boards)
    head = {"format": FORMAT, "units": "mm", "dictionary": field.dictionary}
    return json.dumps(head)[:-1] + f',\n "boards": [\n{boards}\n ]}}\n'


def field_digest(field: MarkerField) -> str:
    """Return the hex SHA-256 of the field's content, the same however its file is written."""
    return hashlib.sha256(field_to_json(field).encode()).hexdigest()


def _board_to_json(board: Board) -> str:
    head = {"name": board.name, "role": board.role, "size": np.round(board.size, 4).tolist()}
    markers = ",\n".join(
        "    " + json.dumps({"id": marker_id, "corners": np.round(corners, 4).tolist()})
        for marker_id, corners in zip(board.ids, board.corners, strict=True)
    )
    return f'  {json.dumps(head)[:-1]},\n   "markers": [\n{markers}\n   ]}}'
