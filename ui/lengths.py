"""Lengths as people read them: centimetres or inches, one setting for all pages."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Literal

from digitise.words import shown
from digitise.words.numbers import decimal_point, numbers
from ui.kept import keep, kept

UnitName = Literal["cm", "in"]

_BETWEEN = r"(?: to | and | or | of | bis | und | oder | von |, |–|-)"


@cache
def _patterns(point: str) -> tuple[re.Pattern[str], re.Pattern[str]]:
    """Return a number, and a list or range of millimetres, as written with a decimal point or comma."""
    number = rf"[0-9]+(?:\{point}[0-9]+)?"
    in_mm = rf"(?<![0-9{point}])({number}(?:{_BETWEEN}{number})*) mm(?![A-Za-z²³^])"
    return re.compile(number), re.compile(in_mm)


@dataclass(frozen=True)
class Unit:
    """A unit of length.

    Attributes
    ----------
    name
        ``cm`` or ``in``.
    mm
        How many millimetres it has.
    step
        What a slider moves by, in this unit.
    """

    name: UnitName
    mm: float
    step: float

    def of(self, mm: float) -> float:
        """Return millimetres in this unit."""
        return mm / self.mm

    def number(self, mm: float, digits: int = 1) -> str:
        """Return millimetres as a number in this unit."""
        return numbers(f"{mm / self.mm:.{digits}f}").replace("-", "\N{MINUS SIGN}")

    def sentence(self, said: str) -> str:
        """Return a sentence in the reader's language, its lengths in millimetres, also lists, in this unit.

        Examples
        --------
        >>> CM.sentence("Calf, 475 to 523 mm: falls by 1.5 mm, and 30 mmHg.")
        'Calf, 47.5 to 52.3 cm: falls by 0.15 cm, and 30 mmHg.'
        """
        number, in_mm = _patterns(decimal_point())
        return in_mm.sub(lambda found: f"{number.sub(self._like, found[1])} {self.name}", shown(said))

    def _like(self, found: re.Match[str]) -> str:
        """Return a number in millimetres in this unit, as exactly as it was said."""
        written = found[0].replace(",", ".")
        digits = len(written.partition(".")[2]) + 1
        return numbers(f"{self.of(float(written)):.{digits}f}")

    def words(self, mm: float, digits: int = 1) -> str:
        """Return millimetres as a number with the unit behind it."""
        return f"{self.number(mm, digits)} {self.name}"


CM, INCH = Unit("cm", 10.0, 0.5), Unit("in", 25.4, 0.25)
UNITS: dict[UnitName, Unit] = {"cm": CM, "in": INCH}


def kept_unit() -> Unit:
    """Return the unit that was chosen last; centimetres when none was."""
    return INCH if kept("unit") == INCH.name else CM


def keep_unit(unit: Unit) -> None:
    """Remember a unit for all pages and for the next time."""
    keep("unit", unit.name)
