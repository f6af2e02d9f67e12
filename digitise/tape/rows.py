"""The value handed on by the tape: one girth at one height."""

from __future__ import annotations

from dataclasses import dataclass


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
    """

    height_mm: float
    girth_mm: float
    line: int = 0
