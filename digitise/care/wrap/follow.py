"""A wrap in the order in which hands put it on: one step a layer, in words and centimetres."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from digitise.anatomy import LimbKind
from digitise.care.surface.landmarks import Landmarks

if TYPE_CHECKING:
    from digitise.care.surface.way import Way
    from digitise.care.wrap.sheet import LayerNeed

# What a hand tells apart (ours; how far a bandage can be pulled at all differs between makes).
_LIGHT, _MEDIUM = 0.2, 0.5
_AT_KNUCKLES_MM = 10.0  # a layer that begins no further from them begins there
BEGINS = {"foot": "behind the toes", "hand": "behind the knuckles"}
"""Where a layer begins that covers foot or hand."""


@dataclass(frozen=True)
class WrapStep:
    """One layer to put on.

    Attributes
    ----------
    number
        From the skin outward.
    name, kind
        As in the plan.
    from_cm, to_cm
        Heights from the floor, or from the mat.
    begins, ends
        The same from the nearest landmark, in words; ``behind the toes``, ``behind the knuckles``.
    turns
        Whole turns.
    overlap
        In words, such as ``half``.
    extension
        ``none``, ``light``, ``medium`` or ``full``.
    rolls
        How many.
    """

    number: int
    name: str
    kind: str
    from_cm: float
    to_cm: float
    begins: str
    ends: str
    turns: int
    overlap: str
    extension: str
    rolls: int


def extension_word(stretch: float) -> str:
    """Return how hard to pull.

    Examples
    --------
    >>> [extension_word(stretch) for stretch in (0.0, 0.1, 0.3, 0.9)]
    ['none', 'light', 'medium', 'full']
    """
    if stretch == 0:
        return "none"
    return "light" if stretch <= _LIGHT else "medium" if stretch <= _MEDIUM else "full"


def overlap_word(overlap: float) -> str:
    """Return by how much of its width a turn lies on the one before.

    Examples
    --------
    >>> [overlap_word(overlap) for overlap in (0.0, 1 / 3, 0.5, 2 / 3, 0.6)]
    ['edge to edge', 'a third', 'half', 'two thirds', '60 %']
    """
    known = {0.0: "edge to edge", 0.25: "a quarter", 1 / 3: "a third", 0.5: "half", 2 / 3: "two thirds"}
    near = min(known, key=lambda one: abs(one - overlap))
    return known[near] if abs(near - overlap) < 0.01 else f"{100 * overlap:.0f} %"


def wrap_steps(
    needs: Sequence[LayerNeed], limb: LimbKind, marks: Landmarks, end: Way | None = None
) -> tuple[WrapStep, ...]:
    """Return the steps of a wrap, from the skin outward.

    Parameters
    ----------
    needs
        What each layer takes, from the skin outward.
    limb
        ``leg`` or ``arm``.
    marks
        The limb's narrow and wide places.
    end
        The way over foot or hand, where it is known.
    """
    names = (
        ("ankle", "widest calf", "narrow place below the knee")
        if limb == LimbKind.LEG
        else ("wrist", "widest forearm", "narrow place near the elbow")
    )
    found = zip(names, (marks.narrow, marks.wide, marks.upper_narrow), strict=True)
    places = {name: mark.height_mm for name, mark in found if mark is not None and not mark.at_end}
    return tuple(_step(number, need, places, end) for number, need in enumerate(needs, start=1))


def _begins(need: LayerNeed, places: dict[str, float], end: Way | None) -> str:
    from_mm = need.layer.from_mm
    if not need.end:
        return _from_landmark(from_mm, places)
    beyond = 0.0 if end is None or need.end == "foot" else from_mm - end.start_mm
    if end is None or beyond <= _AT_KNUCKLES_MM:
        return BEGINS[need.end]
    return f"{(end.bend_mm - from_mm) / 10:.0f} cm beyond the wrist"


def _step(number: int, need: LayerNeed, places: dict[str, float], end: Way | None) -> WrapStep:
    layer = need.layer
    return WrapStep(
        number,
        layer.name,
        layer.kind,
        layer.from_mm / 10,
        layer.to_mm / 10,
        _begins(need, places, end),
        _from_landmark(layer.to_mm, places),
        round(need.turns),
        overlap_word(layer.overlap),
        extension_word(layer.stretch),
        need.rolls,
    )


def _from_landmark(height_mm: float, places: dict[str, float]) -> str:
    if not places:
        return f"{height_mm / 10:.0f} cm up"
    name = min(places, key=lambda one: abs(places[one] - height_mm))
    away = (height_mm - places[name]) / 10
    if abs(away) < 0.5:
        return f"at the {name}"
    return f"{abs(away):.0f} cm {'above' if away > 0 else 'below'} the {name}"
