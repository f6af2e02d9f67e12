"""The way of a bandage over the foot: from behind the toes, round the heel, up to where the leg begins.

Turns lie in planes across the foot that come back along it to the bend of the ankle, open there like a fan
about that bend until they are level, and rise up the leg.  How far the way goes is counted where the turns
lie farthest apart: along the foot, round the back of the heel, and up the leg.  So a wrap with the planned
overlap there closes the heel.

The way is one line with the leg's: above the bend its places are heights.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.surface.way import Way
from digitise.geometry.hull import hull_perimeter
from digitise.geometry.mesh import Mesh, plane_cut
from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only
from digitise.shape.end import EndPart

BEHIND_TOES = 0.78
"""Where a wrap begins: share of the foot's length from the heel, so that the toes can be seen (ours)."""
_TOE_MM = 80.0  # the foot's length is that of what lies lower
_STEP_MM, _FAN, _FRONTS = 5.0, 24, 40
_EDGE_MM, _SAME = 0.5, 1e-6
_SHIN_MM = 150.0  # so high up the front is the shin's
_UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, eq=False)
class FootPlanes:
    """The planes in which turns lie on a foot.

    Attributes
    ----------
    toes, bend
        (3,) unit vector from heel to toes; the bend of the ankle, about which the fan opens.
    begin_mm
        How far before the bend the wrap begins.
    angles, reach
        (F,) angles of the fan from hanging to level, radians, and the way up to each, mm.
    """

    toes: Array
    bend: Array
    begin_mm: float
    angles: Array
    reach: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    @property
    def start_mm(self) -> float:
        """The place behind the toes."""
        return float(self.bend[2] - self.reach[-1] - self.begin_mm)

    def plane(self, at: float) -> tuple[Array, Array, Array]:
        """Return a point of the plane at a place, its normal along the way, and the side that counts."""
        hanging = self.bend[2] - self.reach[-1]
        if at >= self.bend[2]:
            return self.bend + (at - self.bend[2]) * _UP, _UP, np.zeros(3)
        if at <= hanging:
            return self.bend + (hanging - at) * self.toes, -self.toes, np.zeros(3)
        angle = float(np.interp(at - hanging, self.reach, self.angles))
        side = -np.cos(angle) * _UP - np.sin(angle) * self.toes
        return self.bend, np.sin(angle) * _UP - np.cos(angle) * self.toes, side

    def at(self, points: Array) -> Array:
        """Return the places (N,) of points (N, 3); toes lie before its start."""
        off = points - self.bend
        forward, up = off @ self.toes, off[:, 2]
        angle = np.arctan2(-forward, -up)
        hanging = self.bend[2] - self.reach[-1]
        fan = hanging + np.interp(angle, self.angles, self.reach)
        return np.where(forward > 0, hanging - forward, np.where(up > 0, points[:, 2], fan))


def foot_way(foot: EndPart) -> tuple[Way, FootPlanes]:
    """Return the way over a measured foot up to its leg's lowest section, and its planes."""
    return way_on(Mesh(foot.vertices, foot.faces), foot.belief.surface.ahead, foot.top_mm)


def way_on(body: Mesh, toes: Array, top_mm: float) -> tuple[Way, FootPlanes]:
    """Return the way over a surface that stands on the mat, and its planes.

    Parameters
    ----------
    body
        The surface, z up; it may be open above ``top_mm``.
    toes
        (3,) horizontal unit vector from heel to toes.
    top_mm
        Height at which the way ends.
    """
    low = body.vertices[body.vertices[:, 2] < _TOE_MM] @ toes
    bend = _bend(body, toes, top_mm, float(low.min() + BEHIND_TOES * np.ptp(low)))
    begin = float(low.min() + BEHIND_TOES * np.ptp(low) - bend @ toes)
    angles = np.linspace(0.0, np.pi / 2, _FAN + 1)
    radii = np.array([_radius(body, toes, bend, angle) for angle in angles])
    steps = np.diff(angles) * (radii[1:] + radii[:-1]) / 2.0
    planes = FootPlanes(toes, bend, begin, angles, np.concatenate([[0.0], np.cumsum(steps)]))
    at = np.linspace(planes.start_mm, top_mm, int(np.ceil((top_mm - planes.start_mm) / _STEP_MM)) + 1)
    girths = np.array([section_girth(body, planes, float(place)) for place in at])
    return Way(at, girths, float(bend[2]), True), planes


def section_points(body: Mesh, planes: FootPlanes, at: float) -> tuple[Array, Array]:
    """Return the points (N, 3) of a surface in the plane at a place, and its two directions (2, 3)."""
    origin, normal, side = planes.plane(at)
    points = plane_cut(body, origin, normal)
    # on the other side of the bend a plane of the fan would cut the shin or the toes
    points = points[(points - origin) @ side >= -_EDGE_MM] if side.any() else points
    if normal @ planes.toes < -_SAME:
        points = points[points[:, 2] <= planes.bend[2] + _EDGE_MM]
    across = np.cross(planes.toes, _UP)
    return points, np.stack([across, np.cross(normal, across)])


def section_girth(body: Mesh, planes: FootPlanes, at: float) -> float:
    """Return what a taut bandage goes round at a place, mm."""
    points, directions = section_points(body, planes, at)
    return hull_perimeter(points @ directions.T)


def _radius(body: Mesh, toes: Array, bend: Array, angle: float) -> float:
    """Return how far the surface reaches from the bend in a plane of the fan, mm."""
    side = -np.cos(angle) * _UP - np.sin(angle) * toes
    points = plane_cut(body, bend, np.sin(angle) * _UP - np.cos(angle) * toes)
    return float(np.max((points - bend) @ side))


def _bend(body: Mesh, toes: Array, top_mm: float, begin: float) -> Array:
    """Return the bend of the ankle: where the front lies deepest behind a line from foot to shin.

    Parameters
    ----------
    begin
        Where the wrap begins, along the toes' direction.
    """
    back = plane_cut(body, begin * toes, toes)
    low, high = back[back[:, 2] < top_mm, 2].max(), min(_SHIN_MM, body.vertices[:, 2].max())
    heights = np.linspace(low, high - _SAME, _FRONTS)
    fronts = np.array([_front(body, toes, height) for height in heights])
    profile = np.column_stack([fronts @ toes, heights])
    chord = profile[-1] - np.array([begin, heights[0]])
    depth = (profile - profile[-1]) @ np.array([-chord[1], chord[0]]) / np.linalg.norm(chord)
    bend = fronts[np.argmax(depth)]
    # a leg that is measured further down than its bend begins in its instep
    return bend if bend[2] < top_mm else _front(body, toes, top_mm - _SAME)


def _front(body: Mesh, toes: Array, height: float) -> Array:
    """Return the point (3,) of a level cut that lies farthest towards the toes."""
    cut = plane_cut(body, height * _UP, _UP)
    return np.asarray(cut[np.argmax(cut @ toes)])
