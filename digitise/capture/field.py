"""The marker field: which marker sits where on which board (field.json).

A value (:class:`MarkerField`), and the border where files become values: pydantic checks the form,
:func:`field_from_json` checks what the form cannot say (ids, names, geometry).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails, from_json

from digitise.errors import FieldError, OutputError
from digitise.geometry.rigid import Array

Role = Literal["mat", "backdrop"]

FORMAT = "marker-field/1"
_BYTES_MAX = 2_000_000  # the largest dictionary, with every number on a line of its own, stays below
_SIDE_MM = (5.0, 500.0)
_SQUARENESS = 0.05  # a printer may stretch one direction by a few per cent, never by more
_OUTSIDE_MM = 1.0
_PRINT_AGAIN = "Use the field.json that was written together with the printed sheets."


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


# ---------------------------------------------------------------- the form of the file


class _Form(BaseModel):
    model_config = ConfigDict(strict=True, allow_inf_nan=False)


_Millimetres = Annotated[float, Field(ge=-10_000, le=10_000)]
_Point = Annotated[list[_Millimetres], Field(min_length=2, max_length=2)]
_Length = Annotated[float, Field(ge=10, le=10_000)]


class _MarkerForm(_Form):
    id: Annotated[int, Field(ge=0, le=100_000)]
    corners: Annotated[list[_Point], Field(min_length=4, max_length=4)]


class _BoardForm(_Form):
    name: Annotated[str, Field(min_length=1, max_length=60)]
    role: Role
    size: Annotated[list[_Length], Field(min_length=2, max_length=2)]
    markers: Annotated[list[_MarkerForm], Field(min_length=1)]


class _FieldForm(_Form):
    format: Literal["marker-field/1"]
    units: Literal["mm"]
    dictionary: Annotated[str, Field(max_length=60)]
    boards: Annotated[list[_BoardForm], Field(min_length=1)]


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
        raise FieldError(f"The file cannot be read ({error}).", where=where, do=_PRINT_AGAIN) from error
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
    for problem in _contradictions(form):
        raise FieldError(problem.what, where=f"{where}{problem.place}", do=problem.do)
    return MarkerField(form.dictionary, tuple(_board(board) for board in form.boards))


def dictionary_size(name: str) -> int | None:
    """Return how many markers OpenCV's dictionary ``name`` has; None when there is no such dictionary."""
    if not name.startswith("DICT_") or not hasattr(cv2.aruco, name):
        return None
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).bytesList.shape[0])


def _parse(text: str | bytes, where: str) -> _FieldForm:
    content = text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text
    if len(content) > _BYTES_MAX:
        raise FieldError("The file is too large for a marker field.", where=where, do=_PRINT_AGAIN)
    try:
        # editors on Windows put a byte-order mark in front
        data = from_json(content.removeprefix(b"\xef\xbb\xbf"))
    except ValueError as error:
        raise FieldError(f"The file is not JSON ({error}).", where=where, do=_PRINT_AGAIN) from error
    try:
        return _FieldForm.model_validate(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        what = f"{_item(first['loc'])} {_complaint(first)}."
        raise FieldError(what, where=where + _place(data, first["loc"]), do=_PRINT_AGAIN) from error


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
            place += f", {kind} {_short(own) or f'number {number}'}"
    return place


def _short(label: object) -> str:
    # a damaged name may hold control characters or an integer too long for Python to print
    if isinstance(label, int) and not isinstance(label, bool):
        return str(label) if abs(label) < 10**9 else ""
    return "".join(c for c in label if c.isprintable())[:60] if isinstance(label, str) else ""


def _board(form: _BoardForm) -> Board:
    corners = np.array([marker.corners for marker in form.markers], dtype=np.float64)
    size = np.array(form.size, dtype=np.float64)
    for array in (corners, size):
        array.setflags(write=False)
    return Board(form.name, form.role, size, tuple(marker.id for marker in form.markers), corners)


# ---------------------------------------------------------------- what the form cannot say


@dataclass(frozen=True)
class _Problem:
    what: str
    place: str = ""
    do: str = _PRINT_AGAIN


def _contradictions(form: _FieldForm) -> Iterator[_Problem]:
    known = dictionary_size(form.dictionary)
    if known is None:
        yield _Problem(
            f'The marker dictionary "{_short(form.dictionary)}" is not one of OpenCV\'s.',
            do='Write its name as OpenCV does, such as "DICT_APRILTAG_36h11".',
        )
        return
    yield from _name_problems(form)
    owner: dict[int, str] = {}
    for board in form.boards:
        for marker in board.markers:
            place = f", board {board.name}, marker {marker.id}"
            if marker.id >= known:
                yield _Problem(f"The dictionary {form.dictionary} has only ids 0 to {known - 1}.", place)
            if marker.id in owner:
                yield _Problem(
                    f"The same id is already used on board {owner[marker.id]}.",
                    place,
                    "Give every marker of the field its own id and print the sheets anew.",
                )
            owner[marker.id] = board.name
            complaint = _corner_problem(np.array(marker.corners), np.array(board.size))
            if complaint:
                yield _Problem(complaint, place)
        yield from _overlaps(board)


def _name_problems(form: _FieldForm) -> Iterator[_Problem]:
    names = [board.name for board in form.boards]
    for number, name in enumerate(names):
        if not name.isprintable() or not name.strip():
            yield _Problem(
                "The board's name has characters that cannot be printed.", f", board number {number + 1}"
            )
        if name in names[:number]:
            yield _Problem("Two boards have this name.", f", board {name}", "Give every board its own name.")
    if all(board.role != "mat" for board in form.boards):
        yield _Problem(
            "No board has the role mat, so heights have no zero.",
            do='Give the sheet under the foot "role": "mat".',
        )


def _corner_problem(corners: Array, size: Array) -> str:
    """Say why (4, 2) corners in mm are not a marker printed on a sheet of ``size``; empty when they are."""
    sides = np.roll(corners, -1, axis=0) - corners
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    lengths = np.linalg.norm(sides, axis=1)
    if np.all(turns > 0):
        return (
            "The corners run anticlockwise; list them top-left, top-right, bottom-right, bottom-left, y up."
        )
    if not np.all(turns < 0):
        return "The four corners do not enclose a square."
    if lengths.min() < _SIDE_MM[0] or lengths.max() > _SIDE_MM[1]:
        return f"A marker's side must be {_SIDE_MM[0]:g} to {_SIDE_MM[1]:g} mm long."
    diagonals = np.linalg.norm(corners[2:] - corners[:2], axis=1)
    if np.ptp(lengths) > _SQUARENESS * lengths.max() or np.ptp(diagonals) > _SQUARENESS * diagonals.max():
        return "The four corners are not a square."
    if np.any(np.abs(corners) > size / 2 + _OUTSIDE_MM):
        return "The marker lies outside its sheet; the origin is the sheet's centre."
    return ""


def _overlaps(board: _BoardForm) -> Iterator[_Problem]:
    corners = np.array([marker.corners for marker in board.markers])
    centres = corners.mean(axis=1)
    side = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    for first in range(len(centres)):
        gaps = np.linalg.norm(centres[first + 1 :] - centres[first], axis=1)
        # squares whose centres are nearer than half the sum of their sides cover each other
        close = np.flatnonzero(gaps < 0.45 * (side[first + 1 :] + side[first]))
        if close.size:
            other = board.markers[first + 1 + int(close[0])].id
            yield _Problem(
                f"The marker lies on marker {other}.",
                f", board {board.name}, marker {board.markers[first].id}",
            )


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


def _board_to_json(board: Board) -> str:
    head = {"name": board.name, "role": board.role, "size": np.round(board.size, 4).tolist()}
    markers = ",\n".join(
        "    " + json.dumps({"id": marker_id, "corners": np.round(corners, 4).tolist()})
        for marker_id, corners in zip(board.ids, board.corners, strict=True)
    )
    return f'  {json.dumps(head)[:-1]},\n   "markers": [\n{markers}\n   ]}}'
