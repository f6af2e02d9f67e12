"""Foot or hand added to a limb on the page: photographs are opened for it, and let go of again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from digitise.capture.sheets.field import MarkerField
from digitise.output.model.measured import Measured
from digitise.tape.rows import PlaceGirth
from digitise.workflow.foot import with_foot
from digitise.workflow.hand import hand_photos, with_hand
from digitise.workflow.posture.lying import Posture
from digitise.workflow.posture.of_hand import of_the_hand, require_arms
from digitise.workflow.posture.outlined import Outlined
from ui.spoken import text
from ui.work import Inspected, Progress, opened, take_turn, without_pixels


def hands_among(inspected: Inspected, field: MarkerField, posture: Posture | None) -> tuple[int, ...]:
    """Return which photographs (from 0) are of the hand of an arm that lies; none of any other limb."""
    return of_the_hand([seen.detections for seen in inspected.seen], field, posture)


def without(
    paths: Sequence[Path], inspected: Inspected, hands: Sequence[int]
) -> tuple[Sequence[Path], Inspected]:
    """Return a visit's photographs, and what was seen in them, without some (from 0)."""
    if not hands:
        return paths, inspected
    require_arms([path.name for path in paths], hands)
    arms = [n for n in range(len(paths)) if n not in hands]
    some = replace(
        inspected,
        inspection=inspected.inspection.only(arms),
        seen=tuple(inspected.seen[n] for n in arms),
        key=(inspected.key, "without", *hands),
    )
    return [paths[n] for n in arms], some


def add_foot(measured: Measured, outlined: Outlined, paths: Sequence[Path], tell: Progress) -> Measured:
    """Add the foot to a leg."""
    tell(text.STEP_FOOT)
    with take_turn(tell):
        photos = {path.name: opened(path) for path in paths}
        sides = [photos[photo.name] for photo in outlined.photos]
        above = [replace(each, photo=photos[each.photo.name]) for each in outlined.above]
        return _light(with_foot(measured, sides, above))


def add_hand(
    measured: Measured,
    paths: Sequence[Path],
    inspected: Inspected,
    field: MarkerField,
    hands: Sequence[int],
    places: tuple[PlaceGirth, ...],
    tell: Progress,
) -> Measured:
    """Add the hand to an arm, from the photographs ``hands`` (from 0) and what was taped round it."""
    tell(text.STEP_HAND)
    with take_turn(tell):
        photos = [opened(path) for path in paths]
        taped = replace(measured, places=places)
        found = with_hand(taped, lambda: hand_photos(photos, inspected.inspection, field, hands))
        return _light(found)


def _light(measured: Measured) -> Measured:
    if measured.end is None:
        return measured
    return replace(
        measured, end=replace(measured.end, photos=tuple(map(without_pixels, measured.end.photos)))
    )
