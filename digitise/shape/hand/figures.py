"""What is told of a hand: volume, length and girths, each with its standard deviation."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.hull import hull_perimeter
from digitise.geometry.mesh import Mesh, flux, part_beyond, plane_cut
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart
from digitise.shape.hand.prior import MIDDLE, MIDDLE_FINGER, PALM, THUMB, WRIST, along_hand, parts_of_hand
from digitise.shape.limb import MM3_PER_ML, Estimate
from digitise.shape.statistical.solve import KnownGirth, ShapeBelief, slopes
from digitise.shape.statistical.surface import PlacedShape

# The tape lies over the knuckles: share of the way from the wrist to the middle one, behind its bulge.
_KNUCKLES = 0.93
_TAPE_SD_MM = 3.0
# What no usual hand shows, nor any difference from it that is kept.  Share of the volume.
MODEL_SD = 0.015
_UP = np.array([0.0, 0.0, 1.0])


def hand_volume(hand: ShapeBelief, beyond_mm: float = 0.0) -> Estimate[float]:
    """Return the volume beyond a plane across the hand, mL.

    Parameters
    ----------
    hand
        Palm down on the mat.
    beyond_mm
        How far the plane lies from the wrist towards the fingers; negative: on the forearm.
    """
    mean = _volume(hand.surface, beyond_mm)
    slope = slopes(hand.surface, lambda surface: _volume(surface, beyond_mm))
    sd = float(np.sqrt(slope @ hand.covariance @ slope))
    return Estimate(mean / MM3_PER_ML, float(np.hypot(sd, MODEL_SD * mean)) / MM3_PER_ML)


def joined_hand_volume(end: EndPart, below_mm: float | None = None) -> Estimate[float]:
    """Return the volume of a hand below its arm's lowest section, or below a lower height, mL."""
    top = end.top_mm if below_mm is None else min(below_mm, end.top_mm)
    alone = hand_volume(end.belief, end.top_mm - top - end.above_wrist_mm)
    lower = part_beyond(Mesh(end.vertices, end.faces), -_UP, top * _UP)
    return Estimate(flux(lower, np.array([1.0, 0.0, 0.0])) / MM3_PER_ML, alone.sd)


def hand_length(hand: ShapeBelief) -> Estimate[float]:
    """Return the length from the wrist to the tip of the middle finger, mm."""
    return _estimate(hand, _length)


def palm_girth(hand: ShapeBelief) -> Estimate[float]:
    """Return what a taut tape round the knuckles, without the thumb, would read, mm."""
    return _estimate(hand, _palm)


def wrist_girth(hand: ShapeBelief) -> Estimate[float]:
    """Return what a taut tape round the wrist would read, mm."""
    return _estimate(hand, _wrist)


def girth_beside_wrist(surface: PlacedShape, above_mm: float) -> float:
    """Return what a taut tape round the forearm so far above the wrist would read, mm."""
    wrist, ahead = along_hand(surface)
    return _girth(surface, surface.prior.faces, wrist - above_mm * ahead)


def taped(girths: Mapping[str, float]) -> tuple[KnownGirth, ...]:
    """Return the girths that a hand's shape can follow, of those taped (mm, by the place's name)."""
    measures = {"palm": _palm, "wrist": _wrist}
    return tuple(
        KnownGirth(measures[name], mm, _TAPE_SD_MM) for name, mm in girths.items() if name in measures
    )


def _estimate(hand: ShapeBelief, measure: Callable[[PlacedShape], float]) -> Estimate[float]:
    mean, slope = measure(hand.surface), slopes(hand.surface, measure)
    return Estimate(mean, float(np.hypot(np.sqrt(slope @ hand.covariance @ slope), MODEL_SD / 2 * mean)))


def _volume(surface: PlacedShape, beyond_mm: float) -> float:
    wrist, ahead = along_hand(surface)
    body = part_beyond(Mesh(surface.vertices, surface.prior.faces), ahead, wrist + beyond_mm * ahead)
    return flux(body, np.cross(ahead, _UP))


def _length(surface: PlacedShape) -> float:
    wrist, ahead = along_hand(surface)
    finger = surface.vertices[: len(parts_of_hand())][parts_of_hand() == MIDDLE_FINGER]
    return float(np.max((finger - wrist) @ ahead))


def _palm(surface: PlacedShape) -> float:
    points = surface.vertices[[WRIST, MIDDLE]]
    parts = parts_of_hand()[surface.prior.faces]
    without_thumb = np.all((parts == PALM) | (parts > THUMB), axis=1)
    return _girth(
        surface, surface.prior.faces[without_thumb], points[0] + _KNUCKLES * (points[1] - points[0])
    )


def _wrist(surface: PlacedShape) -> float:
    return _girth(surface, surface.prior.faces, surface.vertices[WRIST])


def _girth(surface: PlacedShape, faces: NDArray[np.int64], origin: Array) -> float:
    """Return the perimeter of the hull of a section across the hand, mm."""
    _, ahead = along_hand(surface)
    points = plane_cut(Mesh(surface.vertices, faces), origin, ahead)
    return hull_perimeter(points @ np.column_stack([np.cross(ahead, _UP), _UP]))
