"""The limb's outline in a photograph: both edges to a fraction of a pixel, each point with its own sd."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from digitise.capture.outline.backdrop import SHADOW_WEIGHTS, Area, Panel, find_panel, plain_areas
from digitise.capture.outline.correction import DRAWN_SD_PX, Correction, Side, drawn_offsets, paint
from digitise.capture.outline.foothold import NearMat, look_at_mat
from digitise.capture.outline.garment_edge import skin_rows
from digitise.capture.outline.hiding import hiding
from digitise.capture.outline.rectified import STEP_MM, Strip, rectify
from digitise.capture.outline.region import Region
from digitise.capture.outline.segmentation import find_region
from digitise.capture.outline.subpixel import (
    UNSURE_PX,
    inside_picture,
    near_edge,
    picture_blur,
    right_normals,
    sub_pixel_edge,
)
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import Board
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import Edge

_SIDES: tuple[Side, Side] = ("left", "right")
_AMID_ROWS = 21  # among mostly unsure points a clear step is as likely one on the skin
_MOST_CUT_OFF = 0.3  # share of an edge
_COARSEST_MM = 2.0  # of a pixel at the limb
_LEAST_MM = 150.0  # of the limb's length
_SURE_ENOUGH = 0.75
_LOWEST_MM = 40.0


@dataclass(frozen=True)
class Stretch:
    """A stretch of one edge that could not be told from its surroundings.

    Attributes
    ----------
    side
        ``left`` or ``right`` as seen in the photograph.
    from_mm, to_mm
        Heights on the axis, mm.
    """

    side: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Hidden:
    """A stretch of one edge that something hides, or lies against so that nothing tells them apart.

    Attributes
    ----------
    side
        ``left`` or ``right`` as seen in the photograph.
    from_mm, to_mm
        Heights on the axis, mm.
    what
        What hides it, in words that follow "is hidden by".
    """

    side: str
    from_mm: float
    to_mm: float
    what: str


@dataclass(frozen=True)
class ByHand:
    """What a person's correction changed in an outline.

    Attributes
    ----------
    drawn_mm
        Length of the left and of the right edge that lies where it was drawn, mm of height.
    share
        Of both edges' points, 0 to 1.
    strokes
        How many said that what they cover is limb or background.
    """

    drawn_mm: tuple[float, float]
    share: float
    strokes: int


@dataclass(frozen=True)
class Outline:
    """Both edges of the limb in one photograph.

    Attributes
    ----------
    edges
        Left and right edge as seen, each from the foot to the trunk.
    heights
        For each edge (N,) the height at which a point's ray meets the plane through the axis, mm.
    hem_mm
        Height at which cloth begins, where the edges end; None when skin is seen to the top.
    by_hand
        What was corrected by hand; None without a correction.
    hidden
        Stretches longer than 10 mm that are not seen, each with what hides it.
    """

    edges: tuple[Edge, Edge]
    heights: tuple[Array, Array]
    hem_mm: float | None
    by_hand: ByHand | None = None
    hidden: tuple[Hidden, ...] = ()

    @property
    def unsure(self) -> tuple[Stretch, ...]:
        """Stretches longer than 10 mm that are not sure."""
        return tuple(
            stretch
            for side, edge, heights in zip(_SIDES, self.edges, self.heights, strict=True)
            for stretch in _stretches(side, ~edge.sure, heights)
        )


def find_outline(
    photo: Photograph,
    camera: Camera,
    boards: Iterable[tuple[Board, Pose]],
    axis_from_world: Pose,
    correction: Correction | None = None,
) -> Outline:
    """Find the limb's two edges in a photograph.

    Parameters
    ----------
    photo
        The photograph.
    camera
        Its solved camera.
    boards
        The sheets in its room, each with its pose world_from_board, those that it does not show as well
        (:func:`~digitise.capture.outline.scene.placed_boards`).
    axis_from_world
        Pose of the axis frame: origin on the mat, z along the limb.
    correction
        What a person drew on this photograph; it overrides the automatic edge.

    Raises
    ------
    OutlineError
        When no plain backdrop or no limb before it is seen, or the correction belongs to another photograph.
    """
    if correction is not None:
        _require_same_photo(correction, photo)
    boards = tuple(boards)
    areas = plain_areas([placed for placed in boards if placed[0].role == "backdrop"], camera)
    try:
        strip = rectify(photo.pixels, camera, axis_from_world, _top(areas, axis_from_world))
    except OutlineError as error:
        raise OutlineError(error.what, where=photo.name, do=error.do) from error
    if not strip.pixel_mm() <= _COARSEST_MM:
        raise OutlineError(
            f"a pixel covers {strip.pixel_mm():.1f} mm of the limb, which is too coarse.",
            where=photo.name,
            do="Give the full-size photograph, or step nearer.",
        )
    drawn = None if correction is None else _Drawn(correction, paint(correction, strip))
    mat = look_at_mat(photo.pixels, strip, boards)
    return _surest(
        _trace(photo, strip, find_panel(strip, areas, weight), mat, drawn) for weight in SHADOW_WEIGHTS
    )


@dataclass(frozen=True)
class _Drawn:
    """A correction and its strokes on the strip."""

    correction: Correction
    painted: NDArray[np.int8]


def _surest(attempts: Iterator[Outline | OutlineError]) -> Outline:
    """Return the first outline that is sure enough, else the surest.

    A soft shadow on the backdrop and a limb of nearly its colour cannot both be told: shadows are far more
    common, so they are assumed first.

    Raises
    ------
    OutlineError
        When none can be used; the first reason.
    """
    found: list[Outline] = []
    refused: list[OutlineError] = []
    for attempt in attempts:
        if isinstance(attempt, OutlineError):
            refused.append(attempt)
            continue
        found.append(attempt)
        if not refused and _least_sure(attempt) >= _SURE_ENOUGH:
            break
    if not found:
        raise refused[0]
    return max(found, key=lambda outline: _least_sure(outline) * len(outline.heights[0]))


def _least_sure(outline: Outline) -> float:
    return float(min(edge.sure.mean() for edge in outline.edges))


def _trace(
    photo: Photograph, strip: Strip, panel: Panel, mat: NearMat, drawn: _Drawn | None
) -> Outline | OutlineError:
    """Find both edges against one idea of the backdrop's colour, or tell why not."""
    try:
        region = find_region(photo.pixels, strip, panel, photo.name, None if drawn is None else drawn.painted)
        outline = _edges(photo, strip, region, mat, None if drawn is None else drawn.correction)
        _refuse_cut_off(outline, photo)
        _refuse_short(outline, photo.name)
    except OutlineError as error:
        return error
    return outline


def _edges(
    photo: Photograph, strip: Strip, region: Region, mat: NearMat, correction: Correction | None
) -> Outline:
    skin, hem_mm = skin_rows(strip, region)
    heights = strip.heights[region.rows][skin]
    near = [
        strip.photo_from_plane(near_edge(photo.pixels, strip, region, index, offsets)[skin], heights)
        for index, offsets in enumerate((region.left, region.right))
    ]
    blur = picture_blur(photo.pixels, near)
    above = heights > _LOWEST_MM
    edges, drawn, reasons = [], [], []
    for index, points in enumerate(near):
        edge = sub_pixel_edge(photo.pixels, points, (-1, 1)[index], blur)
        edge = _doubted(edge, region.doubtful[index][skin])
        reason = hiding(strip, region, mat, index)[skin]
        edge = replace(edge, seen=reason == "")
        if correction is not None:
            offsets = drawn_offsets(correction, strip, _SIDES[index], heights)
            at = strip.photo_from_plane(offsets, heights)
            drawn.append(inside_picture(at, photo.pixels))
            edge = _redrawn(edge, at, drawn[-1], (-1, 1)[index])
        edges.append(_upwards(edge, above))
        reasons.append(np.where(edge.seen, "", reason)[above][::-1])
    heights = heights[above][::-1]
    by_hand = None if correction is None else _by_hand(correction, [each[above] for each in drawn])
    hidden = tuple(
        Hidden(part.side, part.from_mm, part.to_mm, str(what))
        for side, reason in zip(_SIDES, reasons, strict=True)
        for what in np.unique(reason[reason != ""])
        for part in _stretches(side, reason == what, heights)
    )
    return Outline((edges[0], edges[1]), (heights, heights), hem_mm, by_hand, hidden)


def _by_hand(correction: Correction, drawn: list[NDArray[np.bool_]]) -> ByHand:
    left, right = (int(np.count_nonzero(each)) for each in drawn)
    share = (left + right) / max(1, 2 * len(drawn[0]))
    return ByHand((STEP_MM * left, STEP_MM * right), share, len(correction.strokes))


def _require_same_photo(correction: Correction, photo: Photograph) -> None:
    if correction.photo_sha256 not in (None, photo.sha256):
        raise OutlineError(
            "the correction was drawn on another photograph.",
            where=photo.name,
            do="Give the correction that belongs to it, or draw it again.",
        )


def _redrawn(edge: Edge, at: Array, drawn: NDArray[np.bool_], outward: int) -> Edge:
    """Put points (n, 2) px in place of an edge's points where ``drawn`` (n,) says so."""
    if not drawn.any():
        return edge
    points = np.where(drawn[:, None], at, edge.points)
    return Edge(
        points,
        np.where(drawn[:, None], outward * right_normals(points), edge.normals),
        np.where(drawn, DRAWN_SD_PX, edge.sd_px),
        edge.sure | drawn,
        edge.seen | drawn,
    )


def _doubted(edge: Edge, doubt: NDArray[np.bool_]) -> Edge:
    sure = edge.sure & ~doubt
    sure &= uniform_filter1d(sure.astype(float), _AMID_ROWS, mode="nearest") >= 0.5
    return replace(edge, sure=sure, sd_px=np.where(sure, edge.sd_px, np.maximum(edge.sd_px, 2.0 * UNSURE_PX)))


def _refuse_cut_off(outline: Outline, photo: Photograph) -> None:
    for side, edge in zip(_SIDES, outline.edges, strict=True):
        if len(edge.points) and np.mean(~inside_picture(edge.points, photo.pixels)) > _MOST_CUT_OFF:
            raise OutlineError(
                f"the limb's {side} edge leaves the picture.",
                where=photo.name,
                do="Step back or turn the phone so that the whole limb is in the picture.",
            )


def _refuse_short(outline: Outline, name: str) -> None:
    heights = outline.heights[0]
    seen = float(heights[-1] - heights[0]) if len(heights) else 0.0
    if seen < _LEAST_MM:
        raise OutlineError(
            f"only {seen:.0f} mm of the limb can be told from what is behind it.",
            where=name,
            do="Use a backdrop of another colour than the skin, and keep the other leg away from this one.",
        )


def _top(areas: Iterable[Area], axis_from_world: Pose) -> float:
    return max((float(axis_from_world.apply(area.outline)[:, 2].max()) for area in areas), default=1000.0)


def _upwards(edge: Edge, keep: NDArray[np.bool_]) -> Edge:
    back = np.flatnonzero(keep)[::-1]
    return Edge(edge.points[back], edge.normals[back], edge.sd_px[back], edge.sure[back], edge.seen[back])


def _stretches(side: str, flags: NDArray[np.bool_], heights: Array) -> list[Stretch]:
    steps = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))).reshape(-1, 2)
    found = [Stretch(side, float(heights[a]), float(heights[b - 1])) for a, b in steps]
    return [stretch for stretch in found if stretch.to_mm - stretch.from_mm >= 10.0]
