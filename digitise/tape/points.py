"""Lettered girth points, and the girths that healthy adults have there."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

from digitise.anatomy import LimbKind

Source = Literal["secondary", "partly", "memory"]


@dataclass(frozen=True)
class GirthPoint:
    """One letter of the girth list.

    Attributes
    ----------
    letter
        ``B``, ``B1``, ``C`` ...
    place
        Where on the limb, in words.
    length
        Name of the length from the floor to the point (``lB``); empty when there is none.
    source
        How far the definition was checked: ``secondary`` (a text that quotes the standard), ``partly``
        or ``memory``.  Everything but ``secondary`` is to be shown with that reservation.
    body
        Key of :data:`ADULT_GIRTHS_MM` to compare with; empty when none fits.
    """

    letter: str
    place: str
    length: str
    source: Source
    body: str


ADULT_GIRTHS_MM: dict[str, tuple[float, float]] = {
    "ankle": (164.0, 293.0),
    "calf": (284.0, 477.0),
    "knee": (290.0, 490.0),
    "thigh": (463.0, 757.0),
    "wrist": (130.0, 196.0),
    "forearm": (196.0, 325.0),
    "upper arm": (224.0, 424.0),
}
"""Smallest and largest girth (mm) among 507 physically active adults: Heinz, Peterson, Johnson and Kerk
2003, J Stat Educ 11(2).  Swollen limbs exceed them, so they carry notes and never a refusal."""

ADULT_RANGE_MM: dict[LimbKind, tuple[float, float]] = {
    LimbKind.LEG: (164.0, 757.0),
    LimbKind.ARM: (130.0, 424.0),
}
"""The same over all girths of a limb: ankle to thigh, wrist to upper arm."""


@cache
def girth_points(limb: LimbKind) -> tuple[GirthPoint, ...]:
    """Return the lettered points of a limb from the foot (hand) upward."""
    text = files("digitise.tape").joinpath("points.toml").read_text(encoding="utf-8")
    return tuple(GirthPoint(**entry) for entry in tomllib.loads(text)[limb])


@cache
def known_letters() -> tuple[str, ...]:
    """Return every letter of any limb, in the order of the data file."""
    return tuple(dict.fromkeys(point.letter for limb in LimbKind for point in girth_points(limb)))
