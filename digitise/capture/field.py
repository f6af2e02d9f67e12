"""The marker field: which marker sits where on which board (field.json)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from digitise.geometry.rigid import Array

Role = Literal["mat", "backdrop"]


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
