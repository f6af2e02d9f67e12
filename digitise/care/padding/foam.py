"""A place on the limb becomes a flat piece of foam: unrolled, smoothed for scissors, with a bevel line.

A region is unrolled row by row: across, the arc length round the section from the region's middle direction;
along, the length on the surface, taken as the mean slant of the row within the region.  So the area of the
flat outline is the area of the surface to first order in the grid, whatever the taper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from scipy import ndimage
from shapely import MultiPolygon, Polygon

from digitise.anatomy import LimbKind, Side
from digitise.care.padding.maps import Kind
from digitise.care.padding.region import Region
from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.care.surface.chart import Chart, Mask, limb_chart
from digitise.care.surface.landmarks import find_landmarks, knee_crease
from digitise.care.surface.place_words import direction_words
from digitise.errors import PlanError
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.shape.limb import Limb

THINNEST_MM = 10.0
THICKNESSES_MM = (5.0, 10.0, 15.0, 20.0)
"""Sheets of foam that are usual (common practice)."""
# Foam over a bulge spreads pressure; a wider one takes a thicker sheet to stay stiff (ours).
_SPREADS_CM2 = (30.0, 80.0)
# A piece ends so far on either side of a crease, so that the joint bends between (ours).
CREASE_GAP_MM = 10.0
# Corners that scissors go round in one cut (ours).
SMOOTH_MM = 6.0
_LEAST_CM2 = 4.0
# Outlines carry a point every 2 mm or so: no nearer than they can be drawn.
_DETAIL_MM = 0.3
_FINER, _SOFT_CELLS = 4, 1.0


@dataclass(frozen=True)
class FoamPiece:
    """One flat piece, seen from the side that lies on the skin, the trunk upward; mm.

    Attributes
    ----------
    outline
        (N, 2) where to cut: x across, y towards the trunk, from the lower left corner of the piece.
    bevel
        Lines (M, 2) up to which the edge is thinned out; empty when the bevel is zero.
    lowest_mm
        Height on the limb that y = 0 lies at.
    axis_x_mm
        x that lies on the region's middle direction.
    area_cm2
        Of the cut piece.
    bare_area_cm2
        Of the unrolled region before smoothing and margin, all pieces of the region together.
    place
        In words.
    goes_round
        The region goes all round the limb: it was opened where it is slightest, and its ends meet.
    thickness_mm
        Of the sheet of foam to take, see :func:`thickness_of`.
    side
        ``left`` or ``right``, of the limb.
    left_is, right_is
        Towards which side of the body its left and right edge lie, seen as drawn.
    edge
        On a foot, where its edge towards the toes lies, in words.
    """

    outline: Array
    bevel: tuple[Array, ...]
    lowest_mm: float
    axis_x_mm: float
    area_cm2: float
    bare_area_cm2: float
    place: str
    goes_round: bool
    thickness_mm: float = THICKNESSES_MM[1]
    side: Side | None = None
    left_is: str = ""
    right_is: str = ""
    edge: str = ""


@dataclass(frozen=True)
class Flat:
    """A region unrolled, seen from outside: polygons with x = 0 on its middle direction, y = 0 at z_0."""

    shape: Polygon | MultiPolygon
    low_mm: float
    goes_round: bool


def foam_pieces(
    limb: Limb,
    region: Region,
    *,
    margin_mm: float = MARGIN_MM,
    bevel_mm: float = BEVEL_MM,
    smooth_mm: float = SMOOTH_MM,
) -> tuple[FoamPiece, ...]:
    """Return the pieces of foam for a region, the largest first.

    Parameters
    ----------
    limb, region
        The region must have been found on this limb.
    margin_mm
        By how much the piece reaches beyond the region.
    bevel_mm
        Width of the thinned edge, within the piece.
    smooth_mm
        Least radius of a corner.

    Raises
    ------
    PlanError
        When a number is out of range, or the region is too small or too narrow for foam.
    """
    check_sizes(margin_mm, bevel_mm, smooth_mm)
    chart = limb_chart(limb)
    bare = unroll(chart, region.mask, region.theta).shape.area / 100.0
    fine, mask = _refined(chart, region.mask)
    flat = unroll(fine, mask, region.theta) if mask.any() else Flat(Polygon(), region.from_mm, False)
    parts = cuttable(flat.shape, smooth_mm, margin_mm, [at - flat.low_mm for at in crease_heights(limb)])
    if not parts:
        raise PlanError(
            f"The place ({region.place}) is too small or too narrow for a piece of foam.",
            do="Choose another place.",
        )
    left, right = (direction_words(limb, region.theta + turn) for turn in (np.pi / 2, -np.pi / 2))
    thick = thickness_of(region.kind, region.peak_mm, region.area_cm2)
    return tuple(
        replace(
            flat_piece(part, flat, bevel_mm, bare, region.place),
            thickness_mm=thick,
            side=limb.side,
            left_is=left,
            right_is=right,
        )
        for part in parts
    )


def thickness_of(kind: Kind, peak_mm: float, area_cm2: float) -> float:
    """Return the thickness of foam for a place, mm: a sheet that is usual.

    What is filled takes the sheet nearest to its depth, for foam thicker than the dip would press; what is
    padded over takes a thicker sheet the wider it is.
    """
    if kind in ("hollow", "crease"):
        return min(THICKNESSES_MM, key=lambda thick: abs(thick - peak_mm))
    small, wide = _SPREADS_CM2
    return THICKNESSES_MM[0 if area_cm2 < small else 1 if area_cm2 < wide else 2]


def crease_heights(limb: Limb) -> tuple[float, ...]:
    """Return the heights at which the limb bends, mm, as far as they can be told: knee or elbow.

    The elbow is taken to lie at the narrow place above the forearm.
    """
    marks = find_landmarks(limb)
    if limb.kind == LimbKind.LEG:
        knee = knee_crease(limb, marks)
        return () if knee is None else (knee,)
    elbow = marks.upper_narrow
    return () if elbow is None or elbow.at_end else (elbow.height_mm,)


def check_sizes(margin: float, bevel: float, smooth: float) -> None:
    """Refuse lengths that no piece of foam has."""
    for name, value, low, high in (
        ("margin", margin, 0.0, 50.0),
        ("bevel", bevel, 0.0, 50.0),
        ("corner radius", smooth, 0.0, 30.0),
    ):
        if not low <= value <= high:
            raise PlanError(
                f"A {name} of {value:g} mm is outside {low:.0f} to {high:.0f} mm.",
                do="Give it in millimetres.",
            )


def _refined(chart: Chart, mask: Mask) -> tuple[Chart, Mask]:
    """Return a finer chart and mask whose edge runs smoothly between the places of the coarse one."""
    rows, columns = chart.h.shape
    z = np.linspace(chart.z[0], chart.z[-1], _FINER * (rows - 1) + 1)
    theta = 2 * np.pi * np.arange(_FINER * columns) / (_FINER * columns)
    at = np.meshgrid(np.arange(len(z)) / _FINER, np.arange(len(theta)) / _FINER, indexing="ij")

    def finer(values: Array) -> Array:
        closed = np.concatenate([values, values[:, :1]], axis=1)
        return np.asarray(ndimage.map_coordinates(closed, at, order=1, mode="nearest"))

    soft = ndimage.gaussian_filter(mask.astype(float), _SOFT_CELLS, mode=("nearest", "wrap"))
    fine = Chart(theta, z, finer(chart.h), finer(chart.radius), finer(chart.raised))
    return fine, finer(soft) > 0.5


def unroll(chart: Chart, mask: Mask, theta: float) -> Flat:
    """Lay the places of a mask (Z, T) flat, seen from outside with the trunk upward.

    Parameters
    ----------
    chart
        The limb.
    mask
        (Z, T) not empty.
    theta
        The direction that gets x = 0.
    """
    seam, goes_round = _seam(chart, mask)
    mask = np.roll(mask, -seam, axis=1)
    radius, raised = (np.roll(one, -seam, axis=1) for one in (chart.radius, chart.raised))
    edges = np.zeros((len(chart.z), len(chart.theta) + 1))
    edges[:, 1:] = np.cumsum(radius * chart.turn_step, axis=1)
    # column j speaks for half a step on both sides of its direction
    place = ((theta - chart.theta[0]) / chart.turn_step - seam + 0.5) % len(chart.theta)
    column = np.arange(edges.shape[1])
    edges -= np.array([np.interp(place, column, row) for row in edges])[:, None]
    rows = np.flatnonzero(mask.any(axis=1))
    inside = np.where(mask, radius, 0.0)
    slant = np.sum(inside * np.sqrt(1 + raised**2), axis=1)[rows] / np.maximum(inside.sum(axis=1)[rows], 1e-9)
    levels = np.concatenate([[0.0], np.cumsum(slant * chart.row_mm[rows])])
    cells = []
    for number, row in enumerate(rows):
        for start, end in true_runs(mask[row]).tolist():
            left, right = edges[row, start], edges[row, end]
            cells.append(shapely.box(left, levels[number], right, levels[number + 1]))
    step = float(chart.z[1] - chart.z[0])
    low = max(float(chart.z[rows[0]]) - step / 2, float(chart.z[0]))
    return Flat(shapely.union_all(cells), low, goes_round)


def _seam(chart: Chart, mask: Mask) -> tuple[int, bool]:
    """Return the column at which the chart is opened, and whether the region crosses it."""
    covered = mask.sum(axis=0)
    if covered.min() == 0:
        # the middle of the widest gap, so that rounding of the middle direction never matters
        free = np.concatenate([covered, covered]) == 0
        start, end = max(true_runs(free).tolist(), key=lambda run: run[1] - run[0])
        return (start + end) // 2 % len(chart.theta), False
    return int(np.argmin(covered)), True


def cuttable(
    shape: Polygon | MultiPolygon,
    smooth: float,
    margin: float,
    creases: Sequence[float],
    within: tuple[float, float] | None = None,
) -> list[Polygon]:
    """Round steps and corners, drop what is thinner than 10 mm and too small, fill holes, add the margin.

    Parts keep off creases, and ``within`` two heights on the flat.
    """
    round_off = max(smooth, THINNEST_MM / 2)
    closed = shape.buffer(smooth).buffer(-smooth)
    opened = _filled(closed).buffer(-round_off).buffer(round_off)
    # parts that only a margin keeps together would become a waist thinner than 10 mm: open once more
    grown = _filled(opened.buffer(margin))
    for at in creases:
        low, _, high, _ = grown.bounds if not grown.is_empty else (0.0, 0.0, 0.0, 0.0)
        grown = grown.difference(
            shapely.box(low - 1, at - CREASE_GAP_MM / 2, high + 1, at + CREASE_GAP_MM / 2)
        )
    if within is not None and not grown.is_empty:
        left, _, right, _ = grown.bounds
        grown = grown.intersection(shapely.box(left, within[0], right, within[1]))
    grown = grown.buffer(-round_off).buffer(round_off)
    parts = [part.simplify(_DETAIL_MM / 3) for part in _polygons(grown) if part.area / 100.0 >= _LEAST_CM2]
    return sorted(parts, key=lambda part: -part.area)


def _polygons(shape: Polygon | MultiPolygon) -> list[Polygon]:
    parts = shape.geoms if isinstance(shape, MultiPolygon) else [shape]
    return [part for part in parts if not part.is_empty]


def _filled(shape: Polygon | MultiPolygon) -> Polygon | MultiPolygon:
    return shapely.union_all([Polygon(part.exterior) for part in _polygons(shape)])


def flat_piece(part: Polygon, flat: Flat, bevel: float, bare: float, place: str) -> FoamPiece:
    """Turn the piece over to its skin side and move it to the corner of its own page."""
    inner = _polygons(part.buffer(-bevel)) if bevel > 0 else []
    turned = np.array(part.exterior.coords) * (-1.0, 1.0)
    corner = turned.min(axis=0)
    lines = tuple(np.array(one.exterior.coords) * (-1.0, 1.0) - corner for one in inner)
    return FoamPiece(
        outline=turned - corner,
        bevel=lines,
        lowest_mm=flat.low_mm + float(corner[1]),
        axis_x_mm=-float(corner[0]),
        area_cm2=part.area / 100.0,
        bare_area_cm2=bare,
        place=place,
        goes_round=flat.goes_round,
    )
