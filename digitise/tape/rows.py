"""The values handed on by the tape: girths at a height or a place, and a remark on such rows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Code = Literal[
    "swapped-digits",
    "unit-slip",
    "swapped-rows",
    "swapped-columns",
    "height-unit",
    "unit-slip-all",
    "ratio-all",
    "check-row",
    "steep-step",
    "unusual-girth",
]


@dataclass(frozen=True)
class TapeRow:
    """One reading of the tape.

    Attributes
    ----------
    height_mm
        Distance from the mat along the limb's axis.
    girth_mm
        What the taut tape read.
    line
        Line number in the file it came from, 1-based; 0 when typed in.
    point
        Letter of the girth point (``B``, ``C`` ...); empty when none was given.
    typed
        Which row of a table it was typed into, from 1; 0 when it came from a file.
    """

    height_mm: float
    girth_mm: float
    line: int = 0
    point: str = ""
    typed: int = 0


@dataclass(frozen=True)
class PlaceGirth:
    """One reading of the tape on foot or hand, beyond the straight limb.

    It does not enter the limb's fit, nor its volume.

    Attributes
    ----------
    place
        Name of the place, such as ``ball-of-foot``; see :mod:`digitise.tape.places`.
    girth_mm
        What the tape read: a girth, or the length of foot or hand.
    line
        Line number in the file it came from, 1-based; 0 when typed in.
    height_mm
        Distance from the mat where one was given, kept as a note; None without.
    """

    place: str
    girth_mm: float
    line: int = 0
    height_mm: float | None = None


@dataclass(frozen=True)
class TapeTable:
    """All that a tape.csv holds.

    Attributes
    ----------
    rows
        Girths along the limb, lowest first.
    places
        Girths on foot or hand, in the order of the file.
    """

    rows: tuple[TapeRow, ...] = ()
    places: tuple[PlaceGirth, ...] = ()


@dataclass(frozen=True)
class TapeAdvice:
    """One remark on a tape table.

    Attributes
    ----------
    code
        What kind of remark.
    text
        The remark in plain sentences.
    rows
        The rows it is about, as they stand.
    likely
        What they would be with the likely slip undone, in the same order; empty without a proposal.
    ratio
        How many times nearer to the expected value the proposal lies; 0 without a proposal.
    """

    code: Code
    text: str
    rows: tuple[TapeRow, ...]
    likely: tuple[TapeRow, ...] = ()
    ratio: float = 0.0
