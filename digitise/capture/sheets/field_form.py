"""The form of a field.json, and what contradicts it: ids, names, geometry."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Literal

import cv2
import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from digitise.geometry.rigid import Array

Role = Literal["mat", "backdrop"]

FORMAT = "marker-field/1"
SIDE_MM = (5.0, 500.0)
SQUARENESS = 0.05  # a printer may stretch one direction by a few per cent, never by more
OUTSIDE_MM = 1.0
PRINT_AGAIN = "Use the field.json that was written together with the printed sheets."


class _Form(BaseModel):
    model_config = ConfigDict(defer_build=True, strict=True, allow_inf_nan=False)


_Millimetres = Annotated[float, Field(ge=-10_000, le=10_000)]
_Point = Annotated[list[_Millimetres], Field(min_length=2, max_length=2)]
_Length = Annotated[float, Field(ge=10, le=10_000)]


class MarkerForm(_Form):
    """One marker as written."""

    id: Annotated[int, Field(ge=0, le=100_000)]
    corners: Annotated[list[_Point], Field(min_length=4, max_length=4)]


class BoardForm(_Form):
    """One board as written."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    role: Role
    size: Annotated[list[_Length], Field(min_length=2, max_length=2)]
    markers: Annotated[list[MarkerForm], Field(min_length=1)]


class FieldForm(_Form):
    """The whole file as written; lengths in mm."""

    format: Literal["marker-field/1"]
    units: Literal["mm"]
    dictionary: Annotated[str, Field(max_length=60)]
    boards: Annotated[list[BoardForm], Field(min_length=1)]


def dictionary_size(name: str) -> int | None:
    """Return how many markers OpenCV's dictionary ``name`` has; None when there is no such dictionary."""
    if not name.startswith("DICT_") or not hasattr(cv2.aruco, name):
        return None
    return int(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, name)).bytesList.shape[0])


def printable(label: object) -> str:
    """Return a name or id from a damaged file fit for a message; empty when it is neither."""
    # it may hold control characters or be an integer too long for Python to print
    if isinstance(label, int) and not isinstance(label, bool):
        return str(label) if abs(label) < 10**9 else ""
    return "".join(c for c in label if c.isprintable())[:60] if isinstance(label, str) else ""


@dataclass(frozen=True)
class Contradiction:
    """A contradiction: what is wrong, in which place of the file, and what to do."""

    what: str
    place: str = ""
    do: str = PRINT_AGAIN


def contradictions(form: FieldForm) -> Iterator[Contradiction]:
    """Find what the form alone cannot exclude, in the order of the file."""
    known = dictionary_size(form.dictionary)
    if known is None:
        yield Contradiction(
            f'The marker dictionary "{printable(form.dictionary)}" is not one of OpenCV\'s.',
            do='Write its name as OpenCV does, such as "DICT_APRILTAG_36h11".',
        )
        return
    yield from _name_problems(form)
    owner: dict[int, str] = {}
    for board in form.boards:
        for marker in board.markers:
            place = f", board {board.name}, marker {marker.id}"
            if marker.id >= known:
                yield Contradiction(f"The dictionary {form.dictionary} has only ids 0 to {known - 1}.", place)
            if marker.id in owner:
                yield Contradiction(
                    f"The same id is already used on board {owner[marker.id]}.",
                    place,
                    "Give every marker of the field its own id and print the sheets anew.",
                )
            owner[marker.id] = board.name
            complaint = _corner_problem(np.array(marker.corners), np.array(board.size))
            if complaint:
                yield Contradiction(complaint, place)
        yield from _overlaps(board)


def _name_problems(form: FieldForm) -> Iterator[Contradiction]:
    names = [board.name for board in form.boards]
    for number, name in enumerate(names):
        if not name.isprintable() or not name.strip():
            yield Contradiction(
                "The board's name has characters that cannot be printed.", f", board number {number + 1}"
            )
        if name in names[:number]:
            yield Contradiction(
                "Two boards have this name.", f", board {name}", "Give every board its own name."
            )
    if all(board.role != "mat" for board in form.boards):
        yield Contradiction(
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
    if lengths.min() < SIDE_MM[0] or lengths.max() > SIDE_MM[1]:
        return f"A marker's side must be {SIDE_MM[0]:g} to {SIDE_MM[1]:g} mm long."
    diagonals = np.linalg.norm(corners[2:] - corners[:2], axis=1)
    if np.ptp(lengths) > SQUARENESS * lengths.max() or np.ptp(diagonals) > SQUARENESS * diagonals.max():
        return "The four corners are not a square."
    if np.any(np.abs(corners) > size / 2 + OUTSIDE_MM):
        return "The marker lies outside its sheet; the origin is the sheet's centre."
    return ""


def _overlaps(board: BoardForm) -> Iterator[Contradiction]:
    corners = np.array([marker.corners for marker in board.markers])
    centres = corners.mean(axis=1)
    side = np.linalg.norm(corners[:, 1] - corners[:, 0], axis=1)
    for first in range(len(centres)):
        gaps = np.linalg.norm(centres[first + 1 :] - centres[first], axis=1)
        # squares whose centres are nearer than half the sum of their sides overlap; a tenth is slack
        close = np.flatnonzero(gaps < 0.45 * (side[first + 1 :] + side[first]))
        if close.size:
            other = board.markers[first + 1 + int(close[0])].id
            yield Contradiction(
                f"The marker lies on marker {other}.",
                f", board {board.name}, marker {board.markers[first].id}",
            )
