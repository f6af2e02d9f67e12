"""Where every sheet stands in every photograph, also where something hides it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.sheets.field import Board, MarkerField
from digitise.geometry.rigid import Pose

_ONE_PLANE_COS = np.cos(np.radians(12.0))  # pages stuck to one panel by hand
_ONE_PLANE_MM = 60.0


def placed_boards(calibration: Calibration, field: MarkerField, number: int) -> list[tuple[Board, Pose]]:
    """Return every sheet whose place in a photograph is known, read in it or told by another photograph.

    A sheet that another photograph shows stands where it stood there if the sheets that both show stood
    still between them; if they moved, it moved with those of its own panel.

    Parameters
    ----------
    calibration
        Solved cameras and boards.
    field
        All sheets.
    number
        Of the photograph, from 0.

    Returns
    -------
    Pairs of a board and its pose world_from_board, in the field's order, the mat included.
    """
    placed = dict(calibration.boards[number])
    for board in field.boards:
        if board.name not in placed:
            told = next(_told_elsewhere(calibration, field, number, board), None)
            if told is not None:
                placed[board.name] = told
    return [(board, placed[board.name]) for board in field.boards if board.name in placed]


def mat_pages(calibration: Calibration, field: MarkerField, number: int) -> tuple[tuple[Board, Pose], ...]:
    """Return those of :func:`placed_boards` that are pages of the mat."""
    return tuple(each for each in placed_boards(calibration, field, number) if each[0].role == "mat")


def _told_elsewhere(
    calibration: Calibration, field: MarkerField, number: int, board: Board
) -> Iterator[Pose]:
    here = calibration.boards[number]
    mats = {each.name for each in field.boards if each.role == "mat"}
    for other, there in enumerate(calibration.boards):
        if other == number or board.name not in there:
            continue
        both = [name for name in there if name in here and name not in mats]
        if both and all(_still(calibration, name, number, other) for name in both):
            yield there[board.name]
            continue
        for name in both:
            if one_plane(there[name], there[board.name]):
                yield here[name] @ there[name].inverse() @ there[board.name]


def _still(calibration: Calibration, name: str, a: int, b: int) -> bool:
    return any(a in group and b in group for group in calibration.still.get(name, ()))


def one_plane(a: Pose, b: Pose) -> bool:
    """Tell whether two sheets, each by its pose world_from_board, are stuck to one panel or wall."""
    offset = a.inverse() @ b
    return bool(offset.rotation[2, 2] > _ONE_PLANE_COS and abs(offset.translation[2]) < _ONE_PLANE_MM)
