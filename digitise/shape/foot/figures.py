"""What is told of a foot: volume, length and girths, each with its standard deviation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.hull import hull_perimeter
from digitise.geometry.mesh import Mesh, flux, part_beyond, plane_cut
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart
from digitise.shape.limb import MM3_PER_ML, Estimate
from digitise.shape.statistical.solve import ShapeBelief, slopes
from digitise.shape.statistical.surface import PlacedShape

BALL = 0.7
"""Where the ball of the foot is: share of the foot's length, from the heel (common practice)."""
_FOOT_TOP_MM = 80.0  # the foot's length is that of what lies lower
_BALL_TOP_MM = 120.0
# What no usual foot shows, nor any difference from it that is kept: toes, nails, the arch in the shade of the
# sole.  Share of the volume (ours; with it seven rendered feet, none fitted to, erred by 1.1 % rms in all).
MODEL_SD = 0.012
_HALF_STEP_MM = 2.0  # of the slices whose volume gives a section's area
_SLANTS = tuple(np.radians(np.arange(30.0, 71.0, 4.0)).tolist())
"""Of the sections tried round heel and instep, off the mat."""


@dataclass(frozen=True)
class FootSection:
    """One section across the foot; lengths in mm, area in mm^2.

    Attributes
    ----------
    from_heel_mm
        Its distance from the heel along the foot.
    width, height
        Of what lies below the leg's lowest section.
    girth
        What a taut tape would read; None behind the ankle, where a tape cannot lie upright.
    area
        Of what lies below the leg's lowest section.
    """

    from_heel_mm: float
    width: float
    height: float
    girth: float | None
    area: float


def foot_volume(foot: EndPart, below_mm: float | None = None) -> Estimate[float]:
    """Return the volume below the leg's lowest section, or below a lower height, mL."""
    top = foot.top_mm if below_mm is None else min(below_mm, foot.top_mm)
    mean = volume_below(foot.vertices, foot.faces, top)
    slope = _volume_slopes(foot.belief.surface, top)
    sd = float(np.sqrt(slope @ foot.belief.covariance @ slope))
    return Estimate(mean / MM3_PER_ML, float(np.hypot(sd, MODEL_SD * mean)) / MM3_PER_ML)


def volume_below(vertices: Array, faces: NDArray[np.int64], top_mm: float) -> float:
    """Return the volume (mm^3) below a height of a surface that is closed there."""
    lower = part_beyond(Mesh(vertices, faces), np.array([0.0, 0.0, -1.0]), np.array([0.0, 0.0, top_mm]))
    return flux(lower, np.array([1.0, 0.0, 0.0]))


def _volume_slopes(surface: PlacedShape, top_mm: float) -> Array:
    """Return d volume / d parameter (K + 3,), mm^3: what moves outward through the surface below the lid."""
    vertices, faces = surface.vertices, surface.prior.faces
    corners = vertices[faces]
    area = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area[corners[:, :, 2].mean(axis=1) > top_mm] = 0.0
    per_vertex = np.zeros_like(vertices)
    for corner in range(3):
        np.add.at(per_vertex, faces[:, corner], area / 3.0)
    motions = surface.motions(np.arange(len(vertices)))
    return np.asarray(np.tensordot(motions, per_vertex, axes=2))


def foot_length(foot: ShapeBelief) -> Estimate[float]:
    """Return the length from heel to toes, mm."""
    return figure_of(foot, length_along)


def ball_girth(foot: ShapeBelief) -> Estimate[float]:
    """Return what a taut tape round the ball of the foot would read, mm."""
    return figure_of(foot, girth_round_ball)


def heel_instep_girth(foot: ShapeBelief) -> Estimate[float]:
    """Return what a taut tape round the back of the heel and the instep would read, mm.

    The shortest of the slanting sections (30 to 70 degrees) through the lower back edge of the heel.
    """
    # the shortest one's slant is where the girth does not change with it: so it is held for the slopes
    slant = min(_SLANTS, key=lambda each: _heel_instep(foot.surface, each))
    return figure_of(foot, lambda surface: _heel_instep(surface, slant))


def foot_sections(foot: EndPart, step: float = 10.0) -> tuple[FootSection, ...]:
    """Return sections across the foot, from the heel to the toes."""
    surface = foot.belief.surface
    heel, length = _heel_and_length(surface)
    up = np.array([0.0, 0.0, 1.0])
    lower = part_beyond(Mesh(foot.vertices, foot.faces), -up, foot.top_mm * up)
    places = np.arange(step, length - step / 2, step)
    return tuple(_section(lower, surface.ahead, heel, float(along), foot.top_mm) for along in places)


def _section(lower: Mesh, toes: Array, heel: float, along: float, top_mm: float) -> FootSection:
    across = np.cross(toes, [0.0, 0.0, 1.0])
    points = plane_cut(lower, (heel + along) * toes, toes) @ np.column_stack([across, [0.0, 0.0, 1.0]])
    ends = ((heel + along + half) * toes for half in (-_HALF_STEP_MM, _HALF_STEP_MM))
    before, after = (flux(part_beyond(lower, -toes, end), across) for end in ends)
    height = float(points[:, 1].max())
    girth = hull_perimeter(points) if height < top_mm - 1.0 else None
    area = (after - before) / (2 * _HALF_STEP_MM)
    return FootSection(along, float(np.ptp(points[:, 0])), height, girth, area)


def figure_of(foot: ShapeBelief, measure: Callable[[PlacedShape], float]) -> Estimate[float]:
    """Return a length or girth that does not depend on where the foot stands, and its standard deviation."""
    mean, slope = measure(foot.surface), slopes(foot.surface, measure)
    return Estimate(mean, float(np.hypot(np.sqrt(slope @ foot.covariance @ slope), MODEL_SD / 2 * mean)))


def _heel_and_length(surface: PlacedShape) -> tuple[float, float]:
    vertices = surface.vertices
    along = vertices[vertices[:, 2] < _FOOT_TOP_MM] @ surface.ahead
    return float(along.min()), float(np.ptp(along))


def length_along(surface: PlacedShape) -> float:
    """Return the length from heel to toes, mm."""
    return _heel_and_length(surface)[1]


def girth_round_ball(surface: PlacedShape) -> float:
    """Return what a taut tape round the ball of the foot would read, mm."""
    heel, length = _heel_and_length(surface)
    return _hull_girth(surface, (heel + BALL * length) * surface.ahead, surface.ahead, _BALL_TOP_MM)


def _heel_instep(surface: PlacedShape, slant: float) -> float:
    vertices = surface.vertices
    low = vertices[vertices[:, 2] < _FOOT_TOP_MM]
    edge = low[np.argmin(low @ surface.ahead + low[:, 2])]
    up = np.array([0.0, 0.0, 1.0])
    return _hull_girth(surface, edge, np.cos(slant) * up - np.sin(slant) * surface.ahead, np.inf)


def _hull_girth(surface: PlacedShape, origin: Array, normal: Array, below_mm: float) -> float:
    """Return the perimeter of the hull of a plane section's part below a height, mm."""
    points = plane_cut(Mesh(surface.vertices, surface.prior.faces), origin, normal)
    points = points[points[:, 2] < below_mm]
    across = np.cross(normal, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    return hull_perimeter(points @ np.column_stack([across, np.cross(normal, across)]))
