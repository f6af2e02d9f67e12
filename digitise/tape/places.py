"""Places on foot and hand that are taken with a tape, beyond the straight limb."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from digitise.anatomy import LimbKind
from digitise.errors import TapeError
from digitise.tape.rows import PlaceGirth

AGREES_MM = 4.0
"""How far a taped girth may lie outside the interval of the photographs and agree all the same: two readings
of one tape differ by 2 to 5 mm (common practice)."""


@dataclass(frozen=True)
class Place:
    """A place on foot or hand.

    Attributes
    ----------
    name
        As in tape.csv, such as ``ball-of-foot``.
    words
        The place in words.
    where
        How the tape lies there; from memory, common practice.
    low, high
        Readings in mm that can be; from memory, wide on purpose.
    length
        The tape reads a length there, and no girth.
    """

    name: str
    words: str
    where: str
    low: float
    high: float
    length: bool = False


@cache
def places_of(limb: LimbKind) -> tuple[Place, ...]:
    """Return the places of a leg's foot or of an arm's hand."""
    text = files("digitise.tape").joinpath("places.toml").read_text(encoding="utf-8")
    return tuple(Place(**entry) for entry in tomllib.loads(text)[limb])


@cache
def known_places() -> tuple[str, ...]:
    """Return the name of every place of any limb, in the order of the data file."""
    return tuple(dict.fromkeys(place.name for limb in LimbKind for place in places_of(limb)))


def place_limits(name: str) -> tuple[float, float]:
    """Return the smallest and largest reading in mm that can be at a known place, of whichever limb."""
    found = [place for limb in LimbKind for place in places_of(limb) if place.name == name]
    return min(place.low for place in found), max(place.high for place in found)


def place_words(name: str) -> str:
    """Return a place in words; a name that is not known, of another version, with spaces."""
    found = [place.words for limb in LimbKind for place in places_of(limb) if place.name == name]
    return found[0].partition(" at ")[0] if found else name.replace("-", " ")


def is_length(name: str) -> bool:
    """Tell whether the tape reads a length at a place, and no girth."""
    return any(place.length for limb in LimbKind for place in places_of(limb) if place.name == name)


def place_name(text: str) -> str:
    """Return a place as it is named in the data file, whatever its capitals and spaces.

    Examples
    --------
    >>> place_name("Ball of foot")
    'ball-of-foot'
    """
    return re.sub(r"[\s_-]+", "-", text.strip().lower())


def check_places(places: Iterable[PlaceGirth], limb: LimbKind) -> None:
    """Refuse girths that cannot be of this limb's foot or hand.

    Raises
    ------
    TapeError
        With the line: a place of the other limb, a girth that cannot be there, or a place given twice.
    """
    known = {place.name: place for place in places_of(limb)}
    seen: set[str] = set()
    for row in places:
        where = f"tape, line {row.line}" if row.line else "tape"
        if row.place not in known:
            raise TapeError(
                f"{row.place} is no place on {_END[limb]}, and the limb is {_LIMB[limb]}.",
                where=where,
                do=f"Use one of {', '.join(known)}, or check which limb it is.",
            )
        low, high = known[row.place].low, known[row.place].high
        if not low <= row.girth_mm <= high:
            what = "length" if known[row.place].length else "girth"
            raise TapeError(
                f"The {what} {row.girth_mm:g} mm of {row.place} is outside {low:g} to {high:g} mm.",
                where=where,
                do="Measure it again.",
            )
        if row.place in seen:
            raise TapeError(f"{row.place} is given twice.", where=where, do="Give each place once.")
        seen.add(row.place)


_END = {LimbKind.LEG: "a foot", LimbKind.ARM: "a hand"}
_LIMB = {LimbKind.LEG: "a leg", LimbKind.ARM: "an arm"}
