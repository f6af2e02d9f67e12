"""The straight axis of a limb that lies, from its own sections, and where on it a tapped place is.

Two visits agree on heights only if both count them from the same place of the body along the same line.  The
line is the straight one nearest to the middles of the limb's sections, the place is a landmark that a person
taps in a photograph: the ray through it is followed to the limb's surface.
"""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.rigid import Array, Pose
from digitise.shape.limb import Limb, coefficients, radius

_STEP_MM = 10.0
_DIRECTIONS = np.linspace(0.0, 2 * np.pi, 72, endpoint=False)
_ALONG_MM = 1.0  # steps of the ray
_BESIDE_MM = 15.0  # a tap that misses the limb by less is taken to be on its rim
_BEYOND_MM = 80.0  # past the end of what is seen
# A tap is off by this much along the limb (one sd): the width of a fingertip's aim on an enlarged picture.
TAP_SD_MM = 1.5
_LEAST_ARM = 0.2  # of the limb's length, on either side of the bend
_LEAST_LINE_MM = 100.0
# Past the end of what is seen the skin may leave the end section that steeply, as at the instep (ours).
_UNSEEN_SLOPE = 0.5


class Place(NamedTuple):
    """Where on the axis a tapped place is, and how well that is known: mm, one sd."""

    height_mm: float
    sd_mm: float


class Bend(NamedTuple):
    """Where and by how much a limb's middle turns: height on its axis, mm, and degrees."""

    height_mm: float
    degrees: float


def centre_line(limb: Limb, low: float | None = None, high: float | None = None) -> tuple[Array, Array]:
    """Return heights (n,) and the sections' middles (n, 2) in the axis frame, mm, over what is reported.

    Of ``low`` and ``high``, where given, only what lies between counts.
    """
    first = limb.from_mm if low is None else max(low, limb.from_mm)
    last = limb.to_mm if high is None else min(high, limb.to_mm)
    if last - first < _LEAST_LINE_MM:
        first, last = limb.from_mm, limb.to_mm
    z = np.arange(first, last + 1e-6, _STEP_MM)
    return z, coefficients(limb, z)[0][:, 1:3]


def straight_axis(limb: Limb, low: float | None = None, high: float | None = None) -> Pose:
    """Return axis_from_world of the straight line nearest to the limb's middles.

    Heights are counted from the same plane as before, to within what the axis turns; z runs to the trunk, y
    upwards.

    Parameters
    ----------
    limb
        As measured along an axis near to it.
    low, high
        Heights between which its middles count, mm; all that is known of it without them.  A limb that is
        bent a little has another line for every stretch, so two visits should name the same.
    """
    z, middle = centre_line(limb, low, high)
    slope, start = np.polyfit(z, middle, 1)
    world = limb.axis_from_world.inverse()
    along = world.rotation @ (np.array([*slope, 1.0]) / np.linalg.norm([*slope, 1.0]))
    return upright_frame(along, world.apply(np.array([*start, 0.0])))


def upright_frame(along: Array, origin: Array) -> Pose:
    """Return axis_from_world of a line that lies: z ``along`` it (3,), y upwards, from ``origin``."""
    y = np.array([0.0, 0.0, 1.0]) - along[2] * along
    y /= np.linalg.norm(y)
    rotation = np.stack([np.cross(y, along), y, along])
    return Pose(rotation, -rotation @ origin)


def shifted(axis: Pose, height_mm: float) -> Pose:
    """Return the same axis with heights counted from ``height_mm`` on it."""
    return Pose(axis.rotation, axis.translation - np.array([0.0, 0.0, height_mm]))


def bend(limb: Limb, low: float | None = None, high: float | None = None) -> Bend:
    """Return the turn of the limb's middle that two straight parts which meet explain best.

    Only what lies between ``low`` and ``high`` counts, mm, where they are given.
    """
    z, middle = centre_line(limb, low, high)
    edge = _LEAST_ARM * (z[-1] - z[0])
    best = (np.inf, Bend(float(z[0]), 0.0))
    for hinge in z[(z > z[0] + edge) & (z < z[-1] - edge)]:
        terms = np.stack([np.ones_like(z), z - hinge, np.maximum(z - hinge, 0.0)], axis=1)
        found, *_ = np.linalg.lstsq(terms, middle, rcond=None)
        misfit = float(np.sum((middle - terms @ found) ** 2))
        first, second = found[1], found[1] + found[2]
        turn = _angle(np.array([*first, 1.0]), np.array([*second, 1.0]))
        best = min(best, (misfit, Bend(float(hinge), turn)), key=lambda each: each[0])
    return best[1]


def _angle(a: Array, b: Array) -> float:
    cross, dot = np.linalg.norm(np.cross(a, b)), a @ b
    return float(np.degrees(np.arctan2(cross, dot)))


def height_of(limb: Limb, centre: Array, ray: Array) -> Place:
    """Return the height at which a ray first meets the limb's surface, mm.

    A ray that is slanted along the limb turns what is not known of the surface's depth into height.

    Parameters
    ----------
    limb
        The limb; up to 80 mm beyond its ends the end sections are carried on.
    centre, ray
        (3,) camera centre and direction in the world.

    Raises
    ------
    ShapeError
        When the ray passes the limb, or meets it too far from what is seen.
    """
    axis = limb.axis_from_world
    eye, along = axis.apply(centre), axis.rotation @ (ray / np.linalg.norm(ray))
    flat = float(np.linalg.norm(along[:2]))
    nearest = -(eye[:2] @ along[:2]) / flat**2
    steps = nearest + np.arange(-400.0, 400.0, _ALONG_MM) / flat
    points = eye + steps[:, None] * along
    z = np.clip(points[:, 2], limb.from_mm, limb.to_mm)
    beyond = _outside(limb, points, z)
    if beyond.min() > _BESIDE_MM:
        raise ShapeError(
            "The landmark was not tapped on the limb.",
            do="Tap it again on the limb's skin, with the phone's photograph enlarged.",
        )
    first = int(np.argmax(beyond <= 0.0)) if beyond.min() <= 0.0 else int(np.argmin(beyond))
    height = float(points[first, 2])
    if not limb.from_mm - _BEYOND_MM <= height <= limb.to_mm + _BEYOND_MM:
        raise ShapeError(
            f"The landmark lies {max(limb.from_mm - height, height - limb.to_mm):.0f} mm beyond what is seen "
            "of the limb.",
            do="Choose a landmark nearer to the part that is measured, or take the photographs again.",
        )
    depth = _depth_sd(limb, points[first, :2], z[first], abs(height - z[first]))
    return Place(height, float(np.hypot(TAP_SD_MM, abs(along[2]) / flat * depth)))


def _depth_sd(limb: Limb, point: Array, z: float, beyond_mm: float) -> float:
    """Return how well the surface's depth is known at a point (2,) across the axis, mm."""
    theta = np.arctan2(point[1], point[0])
    known = radius(limb, np.array([theta]), np.array([z])).sd[0]
    return float(np.hypot(known, _UNSEEN_SLOPE * beyond_mm))


def _outside(limb: Limb, points: Array, z: Array) -> Array:
    """Return by how much points (n, 3) of the axis frame lie beyond the sections at heights (n,), mm."""
    level = np.round(z / 2.0) * 2.0
    level = np.clip(level, limb.from_mm, limb.to_mm)
    distance = np.empty(len(points))
    normals = np.stack([np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)])
    for height in np.unique(level):
        here = level == height
        h = radius(limb, _DIRECTIONS, np.full(len(_DIRECTIONS), height)).mean
        distance[here] = np.max(points[here, :2] @ normals - h, axis=1)
    return distance


def with_unsure_start(limb: Limb, sd_mm: float = TAP_SD_MM) -> Limb:
    """Return a limb whose heights all count from a place that is known to ``sd_mm`` only.

    A limb shifted along its axis has other sections at every height, so this is one more movement of which
    nothing may be learnt.
    """
    basis = limb.basis
    z = basis.places
    here, there = basis.splines(z), basis.splines(np.clip(z + sd_mm, basis.low, basis.high))
    terms = limb.mean.reshape(basis.n_terms, basis.n_splines)
    column = np.linalg.solve(here, (there - here) @ terms.T).T.reshape(-1, 1)
    considered = column if limb.considered is None else np.hstack([limb.considered, column])
    covariance = limb.covariance + column @ column.T
    return replace(limb, covariance=covariance, considered=np.asarray(considered, dtype=np.float64))
