"""A place on the back of the foot becomes a flat piece of foam, which ends before the crease of the ankle.

The back of the foot is laid flat from its ridge: across, the arc length along its section from the ridge;
along, the length on the surface from below the bend of the ankle, in planes along the foot.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy.interpolate import RegularGridInterpolator
from shapely import MultiPolygon, Polygon

from digitise.anatomy import Side
from digitise.care.padding.foam import (
    CREASE_GAP_MM,
    Flat,
    FoamPiece,
    check_sizes,
    cuttable,
    flat_piece,
    thickness_of,
)
from digitise.care.padding.foam_selection import NOT_ASKED, TOO_SMALL, Foam
from digitise.care.padding.foot.areas import TOP
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.care.surface.foot_way import FootPlanes, way_on
from digitise.errors import PlanError
from digitise.geometry.mesh import Mesh, plane_cut
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart

BY_HAND = "Cut a pad for it by hand: behind an ankle bone it is shaped on the foot."
FOOT_SMOOTH_MM = 12.0
"""Least radius of a corner: a foot's surface has a vertex every 6 mm, and the hand cuts no finer (ours)."""
_STEP_MM = 4.0
# Up to so much below the ends of its ridge a section belongs to the back of the foot, radians.
_REACH = np.radians(110.0)
_MIDDLE_MM = 12.0  # above the sole, from where a section's points are seen all round
_UP = np.array([0.0, 0.0, 1.0])
# Seen from above with the ankle upward, the person's right is on the left.
_SEEN = -1.0


@dataclass(frozen=True, eq=False)
class FlatBack:
    """The back of a foot laid flat.

    Attributes
    ----------
    ahead
        (R,) places of sections before the bend, mm, rising.
    turn
        (T,) directions of points on a section as seen from its middle, from the ridge to the person's right.
    across, along
        (R, T) their arc length from the ridge, and their length along the surface from the bend, mm.
    middle
        (3,) a point below the bend, within the foot.
    planes
        The planes of the sections.
    """

    ahead: Array
    turn: Array
    across: Array
    along: Array
    middle: Array
    planes: FootPlanes

    def at(self, points: Array) -> Array:
        """Return where points (N, 3) lie on the flat: to the person's right, and along from the bend, mm."""
        ahead = np.clip((points - self.middle) @ self.planes.toes, self.ahead[0], self.ahead[-1])
        turn = _turn(points - self.middle, self.planes.toes)
        places = np.column_stack([ahead, np.clip(turn, self.turn[0], self.turn[-1])])
        grid = np.stack([self.across, self.along], axis=-1)
        return np.asarray(RegularGridInterpolator((self.ahead, self.turn), grid)(places))


def flat_back(body: Mesh, planes: FootPlanes) -> FlatBack:
    """Lay the back of a foot flat, from the bend of the ankle to behind the toes."""
    ahead = np.arange(0.0, planes.begin_mm + _STEP_MM, _STEP_MM)
    middle = planes.bend * (1.0, 1.0, 0.0) + _MIDDLE_MM * _UP
    turn = np.linspace(-_REACH, _REACH, 2 * _TURNS + 1)
    lower = _below(body, float(planes.bend[2]))
    rows = [_section(lower, middle + step * planes.toes, planes.toes, turn) for step in ahead]
    rise = np.diff([row[:, 1] for row in rows], axis=0)
    slant = np.cumsum(np.hypot(_STEP_MM, rise), axis=0)
    along = np.concatenate([np.zeros((1, len(turn))), slant])
    return FlatBack(ahead, turn, np.array([_arc(row) for row in rows]), along, middle, planes)


_TURNS = 60


def _below(body: Mesh, height: float) -> Mesh:
    """Return the faces of a surface below the bend: a leg that leans lies above the foot's back."""
    low = body.vertices[body.faces][:, :, 2].min(axis=1) < height
    return Mesh(body.vertices, body.faces[low])


def _section(body: Mesh, origin: Array, toes: Array, turn: Array) -> Array:
    """Return the points (T, 2), right and up, of a section in given directions from its middle."""
    cut = plane_cut(body, origin, toes) - origin
    right = np.cross(toes, _UP)
    angle, flat = _turn(cut, toes), cut @ np.column_stack([right, _UP])
    order = np.argsort(angle)
    radius = np.interp(turn, angle[order], np.linalg.norm(flat, axis=1)[order], period=2 * np.pi)
    return np.asarray(radius[:, None] * np.column_stack([np.sin(turn), np.cos(turn)]))


def _turn(points: Array, toes: Array) -> Array:
    return np.asarray(np.arctan2(points @ np.cross(toes, _UP), points[:, 2]))


def _arc(points: Array) -> Array:
    """Return the arc length (T,) along a section, counted from its ridge."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    return np.asarray(length - length[_TURNS])


def foot_foam(
    foot: EndPart,
    side: Side,
    place: FootPlace,
    *,
    margin_mm: float = MARGIN_MM,
    bevel_mm: float = BEVEL_MM,
    smooth_mm: float = FOOT_SMOOTH_MM,
) -> tuple[FoamPiece, ...]:
    """Return the pieces of foam for a place on the back of a foot, the largest first.

    Parameters
    ----------
    foot, side, place
        The foot, ``left`` or ``right``, and a place that was found on it.
    margin_mm, bevel_mm, smooth_mm
        As for :func:`digitise.care.padding.foam.foam_pieces`.

    Raises
    ------
    PlanError
        When a number is out of range, the place is not on the back of the foot, or it is too small.
    """
    check_sizes(margin_mm, bevel_mm, smooth_mm)
    if place.area != TOP:
        raise PlanError(f"There is no piece of foam for {place.place}.", do=BY_HAND)
    body = Mesh(foot.vertices, foot.faces)
    back = flat_back(body, way_on(body, foot.belief.surface.ahead, foot.top_mm)[1])
    shape = _laid(body, back, place)
    # y = 0 is the bend of the ankle: nothing crosses it, nor covers the toes
    within = -float(back.along[-1, _TURNS]), -CREASE_GAP_MM / 2
    parts = cuttable(shape, smooth_mm, margin_mm, (), within)
    if not parts:
        raise PlanError(
            f"The place ({place.place}) is too small or too narrow for a piece of foam.",
            do="Choose another place.",
        )
    flat = Flat(shape, 0.0, False)
    edges = ("outer side", "inner side") if side == Side.LEFT else ("inner side", "outer side")
    return tuple(
        replace(
            flat_piece(part, flat, bevel_mm, shape.area / 100.0, place.place),
            thickness_mm=thickness_of(place.kind, place.peak_mm, place.area_cm2),
            side=side,
            left_is=edges[0],
            right_is=edges[1],
            edge=_edge_words(body, back, -part.bounds[1]),
        )
        for part in parts
    )


def _laid(body: Mesh, back: FlatBack, place: FootPlace) -> Polygon | MultiPolygon:
    """Return the place seen from above, the ankle upward: its faces laid flat."""
    inside = place.vertices[body.faces].sum(axis=1) >= _MOST_OF_A_FACE
    corners = back.at(body.vertices[body.faces[inside]].reshape(-1, 3)).reshape(-1, 3, 2)
    faces = shapely.polygons(corners * (_SEEN, -1.0))
    return shapely.union_all(faces[shapely.is_valid(faces)])


_MOST_OF_A_FACE = 2


def _edge_words(body: Mesh, back: FlatBack, along: float) -> str:
    """Return where the edge towards the toes lies."""
    ahead = float(np.interp(along, back.along[:, _TURNS], back.ahead))
    tip = float(((body.vertices - back.middle) @ back.planes.toes).max())
    return f"Front edge about {(tip - ahead) / 10:.1f} cm behind the tip of the longest toe."


def with_foot_foam(
    foam: Foam,
    foot: EndPart,
    side: Side,
    places: Sequence[FootPlace],
    chosen: Sequence[int] = (),
    *,
    margin_mm: float = MARGIN_MM,
    bevel_mm: float = BEVEL_MM,
) -> Foam:
    """Return a limb's foam with that of the places on its foot, whose numbers follow.

    Parameters
    ----------
    foam
        Of the limb's own places.
    foot, side, places
        The foot, ``left`` or ``right``, and its places.
    chosen, margin_mm, bevel_mm
        As for :func:`digitise.care.padding.foam_selection.make_foam`.
    """
    pieces, of_place = list(foam.pieces), dict(foam.of_place)
    for number, place in enumerate(places, start=len(foam.of_place) + 1):
        if chosen and number not in chosen:
            of_place[number] = NOT_ASKED
            continue
        try:
            found = foot_foam(foot, side, place, margin_mm=margin_mm, bevel_mm=bevel_mm)
        except PlanError as error:
            if number in chosen or place.place not in error.what:
                raise
            of_place[number] = BY_HAND if place.area != TOP else TOO_SMALL
            continue
        of_place[number] = tuple(range(len(pieces) + 1, len(pieces) + len(found) + 1))
        pieces += found
    return Foam(tuple(pieces), of_place)
