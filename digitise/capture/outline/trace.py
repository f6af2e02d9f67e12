"""From a region of the strip to sub-pixel edges, each point with what it knows."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, uniform_filter1d

from digitise.capture.outline.beside.double_edge import SecondEdge, no_second_edge, second_edge
from digitise.capture.outline.beside.lone_runs import alone_at_top, islands
from digitise.capture.outline.beside.narrow_band import narrow_band
from digitise.capture.outline.beside.no_body import beneath_hem, beside_dressing
from digitise.capture.outline.beside.shaded_rim import shaded_rim
from digitise.capture.outline.beside.stepped_in import stepped_in
from digitise.capture.outline.correction import DRAWN_SD_PX, Correction, caps, drawn_offsets
from digitise.capture.outline.garment_edge import cloth_round, skin_rows
from digitise.capture.outline.hiding import BEFORE, CLOTH, before_it, hiding, lost_in_light, short_beside
from digitise.capture.outline.region import FOOT_TOP_MM, Region
from digitise.capture.outline.result import SIDES, ByHand, Hidden, Outline, stretches
from digitise.capture.outline.sub_pixel.edge import (
    UNSURE_PX,
    inside_picture,
    near_edge,
    picture_blur,
    right_normals,
    sub_pixel_edge,
)
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.printed import on_side
from digitise.capture.surroundings.sticks import InFront
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.geometry.view import Edge

_AMID_ROWS = 21  # among mostly unsure points a clear step is as likely one on the skin
_LYING_FROM_MM = 40.0  # a limb that lies is cut there, until it is known where its heights begin
# Doubtful points before a floor are a heel, an instep, another foot: of 639 in twelve pictures, 68 % lay
# within 16 px of the limb and 90 % within 50.
_FLOOR_SD_PX = 16.0
_TOP_MM = 10.0
_FOLD_MM = 22.0  # as deep as a second edge is sought
_LOBE_MM, _LOBE_TOUCHED = 60.0, 0.5  # by trial on one rendered lobe, of 48 mm
_HEM_SD_PX = 12.0  # cloth rolled up stands 6 to 15 mm off the skin
# Where another body hides one edge all along, the other edge may be that body's as well: a dark leg before a
# brown panel was read between its own front and the other leg, surely (0.96). Of legs that were told rightly
# up to 0.82 of an edge was hidden so.
_ALL_ALONG = 0.9
_PADDED_MM = 3.0  # a dressing is one to five thick
_BESIDE_PAGE_MM = 3.0  # plain panel between a page and the limb: wider, its two edges are told apart
_BAND_SD_PX = 3.0  # of a band or rim whose flanks lie 3 to 6 px apart
_APART_MM = 6.0  # more than the steps' table, of 4 mm, and the smoothing of its staircase leave
_NEAR_SD_PX = 4.0  # where two edges run into each other, they are up to five pixels apart


@dataclass(frozen=True)
class Traced:
    """An outline, and how much of it a backdrop that is known told.

    Attributes
    ----------
    outline
        The outline.
    told
        Share of sure points among those with nothing but backdrop beyond, of the worse edge.
    """

    outline: Outline
    told: float


def trace_edges(
    pixels: NDArray[np.uint8],
    strip: Strip,
    region: Region,
    front: InFront,
    correction: Correction | None,
    *,
    another: bool = True,
) -> Traced:
    """Refine both boundaries of a region.

    Parameters
    ----------
    pixels, strip, region
        (H, W, 3) photograph, its strip and the limb in it.
    front
        What stands before the limb.
    correction
        What a person drew; it replaces what is found.
    another
        Whether another limb may show beside this one.
    """
    skin, hem_mm = skin_rows(strip, region) if region.hem_mm is None else (slice(None), region.hem_mm)
    heights = strip.heights[region.rows][skin]
    near = [
        strip.photo_from_plane(near_edge(pixels, strip, region, index, offsets)[skin], heights)
        for index, offsets in enumerate((region.left, region.right))
    ]
    blur = picture_blur(pixels, near)
    above = heights > (_LYING_FROM_MM if strip.lies else -np.inf)
    cloth = np.zeros(len(heights), bool) if strip.lies else cloth_round(strip, region, skin.start or 0)[skin]
    edges, drawn, reasons, told = [], [], [], []
    for index, points in enumerate(near):
        edge = sub_pixel_edge(
            pixels, points, (-1, 1)[index], blur, region.printed[index][skin], bends=region.rests is None
        )
        edge = _by_region(edge, region, index, skin, strip)
        if region.rests is None and another:
            edge, second = _beside(pixels, edge, strip, region, index, skin, front, blur)
            if hem_mm is not None:
                second, by_hem = beneath_hem(second)
                edge = _less_sure(edge, by_hem, _HEM_SD_PX)
        else:  # what shines on a limb beside its shadow is no other body, nor are the lines between fingers
            second = no_second_edge(len(edge.points))
        edge = _within(edge, second)
        behind = _behind(strip, edge, heights, front, index)
        fold = _folds(region, index, skin, second)
        hidden = region.hidden[index] | (region.strayed_mm[index] > 0.0)
        hidden[skin] &= ~fold
        hidden[skin] |= lost_in_light(pixels, edge, hidden[skin], strip.pixel_mm())
        known = np.where(cloth, CLOTH, np.where(behind, BEFORE, ""))
        reason = np.where(known != "", known, hiding(strip, region, front.mat, index, hidden)[skin])
        jump = region.strayed_mm[index][skin]
        lost = short_beside(edge.sure & ~hidden[skin], (jump > 0.0) & ~fold)
        edge = _doubted(edge, lost | (fold & (jump <= _FOLD_MM)))  # more speaks for a lobe than for a fold
        edge = replace(_doubted(edge, islands(edge, strip.pixel_mm())), seen=reason == "")
        plain = ~(region.touched if region.rests is None else region.rests)[index][skin] & ~behind
        told.append(float(edge.sure[plain].mean()) if plain.any() else 1.0)
        edge = _less_sure(edge, alone_at_top(edge.sure), 2.0 * UNSURE_PX)
        edge = _contradicted(replace(edge, sure=edge.sure & edge.seen), strip, region, index, skin)
        edge = _less_sure(edge, ~edge.sure, region.unsure_mm / strip.pixel_mm())
        if correction is not None:
            offsets = drawn_offsets(correction, strip, SIDES[index], heights)
            at = strip.photo_from_plane(offsets, heights)
            drawn.append(inside_picture(at, pixels))
            round_it = region.rests is not None and correction.polygon is not None
            if round_it:
                drawn[-1] &= ~caps(drawn[-1])
            edge = _redrawn(edge, at, drawn[-1], (-1, 1)[index])
            if round_it:  # who draws round a limb that lies did not trust the rest
                edge = replace(edge, seen=drawn[-1])
        edges.append(_upwards(edge, above))
        reasons.append(np.where(edge.seen, "", reason)[above][::-1])
    heights = heights[above][::-1]
    supported = tuple(
        part
        for side, rests in zip(SIDES, region.rests or (), strict=False)
        for part in stretches(side, rests[skin][above][::-1], heights)
    )
    by_hand = None if correction is None else _by_hand(correction, [each[above] for each in drawn])
    outline = Outline(
        (edges[0], edges[1]), (heights, heights), hem_mm, by_hand, _hidden(reasons, heights), supported
    )
    return Traced(outline, min(told))


def _by_region(edge: Edge, region: Region, index: int, skin: slice, strip: Strip) -> Edge:
    """Take certainty from those points of an edge that the region says are doubtful, and where it says so."""
    pixel_mm = strip.pixel_mm()
    above_foot = strip.heights[region.rows][skin] > FOOT_TOP_MM
    crossed = region.before[1 - index][skin][above_foot]
    doubtful = region.doubtful[index][skin] | (len(crossed) > 0 and crossed.mean() > _ALL_ALONG)
    edge = _doubted(edge, doubtful)
    edge = _less_sure(edge, ~edge.sure & region.below[skin], _FLOOR_SD_PX)
    if region.padded is not None:
        edge = _less_sure(edge, region.padded[index][skin], _PADDED_MM / pixel_mm)
    if region.creased_mm is not None:
        crease = region.creased_mm[index][skin]
        edge = _less_sure(edge, crease > 0.0, np.maximum(crease / pixel_mm, 2.0 * UNSURE_PX))
    if region.sides is not None:
        beside = on_side(strip, region.sides, edge.points)
        edge = _less_sure(edge, beside, _BESIDE_PAGE_MM / pixel_mm)
    return edge


def _contradicted(edge: Edge, strip: Strip, region: Region, index: int, skin: slice) -> Edge:
    """Widen the sd of unsure points where steps of light told the edge elsewhere.

    Either place is as likely: the other lies at the whole distance d about each, so the sd is d over root 2.
    """
    if region.steps is None:
        return edge
    apart = np.abs(strip.plane_from_photo(edge.points)[:, 0] - region.steps[index][skin])
    return _less_sure(edge, ~edge.sure & (apart > _APART_MM), np.sqrt(0.5) * apart / strip.pixel_mm())


def _beside(
    pixels: NDArray[np.uint8],
    edge: Edge,
    strip: Strip,
    region: Region,
    index: int,
    skin: slice,
    front: InFront,
    blur_px: float,
) -> tuple[Edge, SecondEdge]:
    """Look for what of another body shows beside an edge: return it, less sure, and a second edge within."""
    printed = region.printed[index][skin]
    second = second_edge(pixels, edge.points, edge.normals, strip.pixel_mm(), printed, blur_px)
    second = beside_dressing(second, region.dressed[index][skin])
    inner = edge.points - second.depth_px[:, None] * edge.normals
    second = second.without_those_on(front.hides(strip, inner, strip.heights[region.rows][skin]))
    # within the edge of a body that stands before the limb there is nothing to find
    second = second.without_those_on(region.before[index][skin])
    edge = _less_sure(edge, shaded_rim(pixels, edge.points, edge.normals) & ~printed, _BAND_SD_PX)
    if region.touched[index].any() or second.near.any():  # another body shows somewhere along it
        band = narrow_band(pixels, edge.points, edge.normals) & ~printed
        edge = _less_sure(edge, band, _BAND_SD_PX)
    return edge, second


def _behind(strip: Strip, edge: Edge, heights: Array, front: InFront, index: int) -> NDArray[np.bool_]:
    """Tell on which rows (n,) an edge is that of something before the limb."""
    behind = before_it(strip, edge, heights, front)
    if strip.lies:
        return behind
    outward = (-1, 1)[index] * strip.plane_from_photo(edge.points)[:, 0]
    return behind | (stepped_in(outward) & (heights > FOOT_TOP_MM))


def _folds(region: Region, index: int, skin: slice, second: SecondEdge) -> NDArray[np.bool_]:
    """Tell where an edge that jumped is the limb's own, at a fold that hangs over: before plain backdrop.

    Where another body had come out beside the limb, the limb's own end would show as a second edge within:
    it is sought as deep as a fold. Of a lobe, which hangs out farther, nothing shows within further up.
    """
    jump, touched = region.strayed_mm[index][skin], region.touched[index][skin]
    two = (second.depth_px > 0.0) | second.near
    own = (jump > 0.0) & (jump <= _FOLD_MM)
    for first, last in true_runs(jump > 0.0):
        lobe = first * STEP_MM > _TOP_MM and jump[first:last].max() <= _LOBE_MM
        own[first:last] |= lobe and not two[first:last].any() and touched[first:last].mean() < _LOBE_TOUCHED
    return np.asarray(own & ~touched & ~two)


def _less_sure(edge: Edge, where: NDArray[np.bool_], sd_px: float | Array) -> Edge:
    """Take certainty from those points of an edge (n,) that ``where`` names."""
    return replace(
        edge, sure=edge.sure & ~where, sd_px=np.where(where, np.maximum(edge.sd_px, sd_px), edge.sd_px)
    )


def _hidden(reasons: list[NDArray[np.str_]], heights: Array) -> tuple[Hidden, ...]:
    return tuple(
        Hidden(part.side, part.from_mm, part.to_mm, str(what))
        for side, reason in zip(SIDES, reasons, strict=True)
        for what in np.unique(reason[reason != ""])
        for part in stretches(side, reason == what, heights)
    )


def _within(edge: Edge, second: SecondEdge) -> Edge:
    """Put an edge on the second one within it where there is one: what was found belongs to another body."""
    inner = second.depth_px > 0.0
    if not inner.any():
        return edge
    depth = gaussian_filter1d(second.depth_px, 2.0) / np.maximum(
        gaussian_filter1d(inner.astype(float), 2.0), 1e-6
    )
    points = np.where(inner[:, None], edge.points - depth[:, None] * edge.normals, edge.points)
    least = np.maximum(second.sd_px, np.where(second.near & ~inner, _NEAR_SD_PX, 0.0))
    return replace(
        edge, points=points, sd_px=np.maximum(edge.sd_px, least), sure=edge.sure & ~inner & ~second.near
    )


def _by_hand(correction: Correction, drawn: list[NDArray[np.bool_]]) -> ByHand:
    left, right = (int(np.count_nonzero(each)) for each in drawn)
    share = (left + right) / max(1, 2 * len(drawn[0]))
    return ByHand((STEP_MM * left, STEP_MM * right), share, len(correction.strokes))


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


def _upwards(edge: Edge, keep: NDArray[np.bool_]) -> Edge:
    back = np.flatnonzero(keep)[::-1]
    return edge.pick(back)
