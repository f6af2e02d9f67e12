"""The girth list for a garment: lettered points with girths and lengths, from photographs.

Letters and places come from the tape's data file, each with how far its definition was checked.  B, C, B1 and
D of a leg (wrist C and forearm D of an arm) are proposed from the girth profile by rules of ours; a person
sets or confirms every height.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.surface.landmarks import Landmark, Landmarks, find_landmarks
from digitise.errors import PlanError
from digitise.shape.limb import Limb, girth
from digitise.tape.points import GirthPoint, girth_points

CONFIRM = "From photographs, confirm with a tape."
FROM_LANDMARK = "The limb lay: heights are from its landmark, not from the floor; measure the lengths anew."
NOT_STABLE = "The limb still changes: a garment measured now may soon be too large."
_CANDIDATES = {
    LimbKind.LEG: {"B": "narrow", "B1": "bend", "C": "wide", "D": "upper_narrow"},
    LimbKind.ARM: {"C": "narrow", "D": "wide"},
}


@dataclass(frozen=True)
class GirthEntry:
    """One line of the list.

    Attributes
    ----------
    letter, place
        As in the data file.
    length_name
        ``lB`` ...; empty when the point has no length.
    height_mm, height_95
        Length from the floor (mat) and where the point may lie; a height set by hand has no width.
    girth_mm, girth_95
        Girth and its 95 % interval.
    set_by_hand
        The height was given, not proposed.
    source
        How far the letter's definition was checked: ``secondary``, ``partly`` or ``memory``.
    note
        What to look at; empty when there is nothing.
    """

    letter: str
    place: str
    length_name: str
    height_mm: float
    height_95: tuple[float, float]
    girth_mm: float
    girth_95: tuple[float, float]
    set_by_hand: bool
    source: str
    note: str


@dataclass(frozen=True)
class GirthList:
    """Girths for ordering.

    Attributes
    ----------
    entries
        From the foot or hand upward.
    missing
        Letters with a checked source that could not be placed on the measured segment.
    notes
        What holds for the whole list; the first is always :data:`CONFIRM`.
    """

    entries: tuple[GirthEntry, ...]
    missing: tuple[str, ...]
    notes: tuple[str, ...]


def girth_list(
    limb: Limb,
    heights: Mapping[str, float] | None = None,
    *,
    stable: bool | None = None,
    override: bool = False,
    optional: bool = False,
) -> GirthList:
    """Return the girth list of a limb.

    Parameters
    ----------
    limb
        The limb.
    heights
        Heights of lettered points set by hand, mm; they replace proposals.
    stable
        The verdict of the limb's course: it has levelled off, it still changes, or None when it is not known.
    override
        Make the list although the limb still changes.
    optional
        Also list proposals whose letter is known from memory only.

    Raises
    ------
    PlanError
        When the limb still changes and that is not overridden, a letter is unknown, or a height lies outside
        the measured segment.
    """
    if stable is False and not override:
        raise PlanError(
            "The limb still changes, so a garment measured now would not fit for long.",
            do="Wait until it has levelled off, or ask for the list all the same.",
        )
    given = dict(heights or {})
    points = girth_points(limb.kind)
    _check_heights(limb, given, points)
    marks = find_landmarks(limb)
    entries, missing = [], []
    for point in points:
        proposal = _proposal(limb, marks, point.letter)
        wanted = point.letter in given or optional or point.source != "memory"
        if point.letter in given:
            height = given[point.letter]
            entries.append(_entry(limb, point, Landmark(height, (height, height), False), True))
        elif proposal is not None and wanted:
            entries.append(_entry(limb, point, proposal, False))
        elif wanted:
            missing.append(point.letter)
    _check_order(entries)
    ordered = _between_neighbours(entries)
    return GirthList(ordered, tuple(missing), _notes(stable, ordered, limb.lying))


def _check_heights(limb: Limb, given: Mapping[str, float], points: tuple[GirthPoint, ...]) -> None:
    known = [point.letter for point in points]
    for letter, height in given.items():
        if letter not in known:
            raise PlanError(
                f"{letter!r} is no girth point of {'a leg' if limb.kind == 'leg' else 'an arm'}.",
                do=f"Use one of {', '.join(known)}.",
            )
        if not limb.from_mm <= height <= limb.to_mm:
            raise PlanError(
                f"Point {letter} at {height:g} mm lies outside the measured segment, {limb.from_mm:.0f} to "
                f"{limb.to_mm:.0f} mm.",
                do="Correct its height, or take that girth with a tape.",
            )


def _check_order(entries: Sequence[GirthEntry]) -> None:
    """Refuse points of which one set by hand lies on the wrong side of another."""
    for below, above in pairwise(entries):
        if below.height_mm >= above.height_mm and (below.set_by_hand or above.set_by_hand):
            raise PlanError(
                "The heights of the girth points do not rise in the order of their letters: "
                f"{below.letter} at {below.height_mm:.0f} mm lies above {above.letter} at "
                f"{above.height_mm:.0f} mm.",
                do=f"From the lowest: {', '.join(entry.letter for entry in entries)}.",
            )


def _between_neighbours(entries: Sequence[GirthEntry]) -> tuple[GirthEntry, ...]:
    """Return points whose intervals of height end at the points below and above: their order is certain."""
    heights = [-np.inf, *(entry.height_mm for entry in entries), np.inf]
    return tuple(
        replace(entry, height_95=(max(entry.height_95[0], below), min(entry.height_95[1], above)))
        for entry, below, above in zip(entries, heights, heights[2:], strict=False)
    )


def _proposal(limb: Limb, marks: Landmarks, letter: str) -> Landmark | None:
    name = _CANDIDATES[limb.kind].get(letter)
    found: Landmark | None = getattr(marks, name) if name else None
    # an upper narrow place at the end of the segment is only where the photograph ends
    return (
        None if found is not None and found.at_end and letter == "D" and limb.kind == LimbKind.LEG else found
    )


def _entry(limb: Limb, point: GirthPoint, where: Landmark, by_hand: bool) -> GirthEntry:
    value = girth(limb, np.array([where.height_mm]))
    low, high = value.interval_95
    notes = []
    if where.at_end:
        notes.append("at the end of the measured segment: the true place may lie beyond")
    if point.source != "secondary":
        notes.append("place of this letter from memory, check it with the maker's sheet")
    return GirthEntry(
        letter=point.letter,
        place=point.place,
        length_name=point.length,
        height_mm=where.height_mm,
        height_95=where.interval_95,
        girth_mm=float(value.mean[0]),
        girth_95=(float(low[0]), float(high[0])),
        set_by_hand=by_hand,
        source=point.source,
        note="; ".join(notes),
    )


def _notes(stable: bool | None, entries: tuple[GirthEntry, ...], lying: str) -> tuple[str, ...]:
    notes = [CONFIRM]
    if lying:
        notes.append(FROM_LANDMARK)
    if stable is False:
        notes.append(NOT_STABLE)
    if stable is None:
        notes.append("It is not known whether the limb still changes: measure a limb that has levelled off.")
    if any(not entry.set_by_hand for entry in entries):
        notes.append(
            "Heights not set by hand are proposals from the girth profile: confirm them on the limb."
        )
    return tuple(notes)
