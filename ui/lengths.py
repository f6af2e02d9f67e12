"""Lengths as people read them: centimetres or inches, one setting for all pages, kept beside the drafts."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import platformdirs

from digitise.record.opening import make_private_folder

UnitName = Literal["cm", "in"]

_FILE = "page.json"
_NUMBER = re.compile(r"[0-9]+(?:\.[0-9]+)?")
_IN_MM = re.compile(
    r"(?<![0-9.])([0-9]+(?:\.[0-9]+)?(?:(?: to | and | or |, |–)[0-9]+(?:\.[0-9]+)?)*) mm(?![A-Za-z²³^])"
)


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
        return f"{mm / self.mm:.{digits}f}".replace("-", "\N{MINUS SIGN}")

    def sentence(self, said: str) -> str:
        """Return a sentence with its lengths in millimetres, also lists and ranges of them, in this unit.

        Examples
        --------
        >>> CM.sentence("Calf, 475 to 523 mm: falls by 1.5 mm, and 30 mmHg.")
        'Calf, 47.5 to 52.3 cm: falls by 0.15 cm, and 30 mmHg.'
        """
        return _IN_MM.sub(lambda found: f"{_NUMBER.sub(self._like, found[1])} {self.name}", said)

    def _like(self, found: re.Match[str]) -> str:
        """Return a number in millimetres in this unit, as exactly as it was said."""
        digits = len(found[0].partition(".")[2]) + 1
        return f"{self.of(float(found[0])):.{digits}f}"

    def words(self, mm: float, digits: int = 1) -> str:
        """Return millimetres as a number with the unit behind it."""
        return f"{self.number(mm, digits)} {self.name}"


CM, INCH = Unit("cm", 10.0, 0.5), Unit("in", 25.4, 0.25)
UNITS: dict[UnitName, Unit] = {"cm": CM, "in": INCH}


def kept_unit() -> Unit:
    """Return the unit that was chosen last; centimetres when none was."""
    try:
        name = json.loads(_file().read_text(encoding="utf-8"))["unit"]
        return UNITS.get(name, CM)
    except (OSError, ValueError, LookupError, TypeError):
        return CM


def keep_unit(unit: Unit) -> None:
    """Remember a unit for all pages and for the next time."""
    make_private_folder(_file().parent)
    _file().write_text(json.dumps({"unit": unit.name}), encoding="utf-8")


def _file() -> Path:
    return platformdirs.user_data_path("digitise", appauthor=False) / _FILE
