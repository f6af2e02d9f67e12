"""The limb's outline in a photograph: both edges to a fraction of a pixel, each point with its own sd."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter, uniform_filter1d

from digitise.capture.backdrop import SHADOW_WEIGHTS, Area, Panel, Values, find_panel, plain_areas
from digitise.capture.correction import DRAWN_SD_PX, Correction, drawn_offsets, paint
from digitise.capture.field import Board
from digitise.capture.hem import skin_rows
from digitise.capture.paths import best_path
from digitise.capture.photo import Photograph, linear_light
from digitise.capture.region import Region, find_region
from digitise.capture.resample import read_between
from digitise.capture.step import StepFit, estimate_blur, explained_by_step, fit_steps
from digitise.capture.strip import STEP_MM, Strip, cut_strip
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import Edge

# brightness (Rec. 709 luminance) and two colour differences: photographs keep colour at half resolution
_LUMA = np.array([0.2126, 0.7152, 0.0722])
_CHANNELS = np.stack([_LUMA, [1, 0, 0] - _LUMA, [0, 0, 1] - _LUMA], axis=1).astype(np.float32)
_BLURS_PX = (0.6, 0.75, 0.9, 1.1, 1.4, 1.8, 2.3, 3.0)
_COLOUR_BLUR_PX = 1.25  # added by the halved resolution
_COLOUR_NOISE = np.array([1.0, 2.0, 2.0])  # half resolution: neighbouring samples repeat each other's noise
_REACH_MM = 30.0
_STEP_GAIN = 6.0  # a perfect step at both scales weighs as much as 6 mm of full evidence
_LEAST_NOISE = np.array([0.002, 0.008, 0.008])  # compressed colour is flat, with steps between blocks
_STEP_HALVES_PX = (6, 11)
_USUAL_BLUR_PX = 0.85
_STIFFNESS = 0.5
_ALONG = 1.5  # rows: profiles are averaged along the edge with this sd
_SMOOTH_ROWS = 4.0
_HALF_PX = 8
_FLOOR_PX = 0.25  # what the point spread and tone curve leave unknown
_UNSURE_PX = 1.0
_OUTLIER_PX = 1.5
_NOTCH_ROWS = 61
_NOTCH_MM = 4.0
_LEAST_GAIN = 60.0  # chi-square: steps that noise and the grain of skin make stay below
_AMID_ROWS = 21  # among mostly unsure points a clear step is as likely one on the skin
_BORDER_PX = 4.0
_MOST_CUT_OFF = 0.3  # share of an edge
_LEAST_SURE = 0.65  # share of an edge
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
    """

    edges: tuple[Edge, Edge]
    heights: tuple[Array, Array]
    hem_mm: float | None

    @property
    def unsure(self) -> tuple[Stretch, ...]:
        """Stretches longer than 10 mm that are not sure."""
        return tuple(
            stretch
            for side, edge, heights in zip(("left", "right"), self.edges, self.heights, strict=True)
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
        The backdrops it shows, each with its pose world_from_board.
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
    areas = plain_areas(boards, camera)
    try:
        strip = cut_strip(photo.pixels, camera, axis_from_world, _top(areas, axis_from_world))
    except OutlineError as error:
        raise OutlineError(error.what, where=photo.name, do=error.do) from error
    if not strip.pixel_mm() <= _COARSEST_MM:
        raise OutlineError(
            f"a pixel covers {strip.pixel_mm():.1f} mm of the limb, which is too coarse.",
            where=photo.name,
            do="Give the full-size photograph, or step nearer.",
        )
    drawn = None if correction is None else _Drawn(correction, paint(correction, strip))
    return _surest(_trace(photo, strip, find_panel(strip, areas, weight), drawn) for weight in SHADOW_WEIGHTS)


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


def _trace(photo: Photograph, strip: Strip, panel: Panel, drawn: _Drawn | None) -> Outline | OutlineError:
    """Find both edges against one idea of the backdrop's colour, or tell why not."""
    try:
        region = find_region(strip, panel, photo.name, None if drawn is None else drawn.painted)
        outline = _edges(photo, strip, region, None if drawn is None else drawn.correction)
        _refuse_cut_off(outline, photo)
        _refuse_unsure(outline, photo.name)
    except OutlineError as error:
        return error
    return outline


def _edges(photo: Photograph, strip: Strip, region: Region, correction: Correction | None) -> Outline:
    skin, hem_mm = skin_rows(strip, region)
    heights = strip.heights[region.rows][skin]
    near = [
        strip.photo_from_plane(_near_edge(photo.pixels, strip, region, index, offsets)[skin], heights)
        for index, offsets in enumerate((region.left, region.right))
    ]
    blur = _picture_blur(photo.pixels, near)
    edges = []
    for index, points in enumerate(near):
        edge = _sub_pixel_edge(photo.pixels, points, (-1, 1)[index], blur)
        edge = _doubted(edge, region.doubtful[index][skin])
        if correction is not None:
            offsets = drawn_offsets(correction, strip, ("left", "right")[index], heights)
            edge = _redrawn(edge, strip.photo_from_plane(offsets, heights), (-1, 1)[index], photo.pixels)
        edges.append(_upwards(edge, heights > _LOWEST_MM))
    heights = heights[heights > _LOWEST_MM][::-1]
    return Outline((edges[0], edges[1]), (heights, heights), hem_mm)


def _require_same_photo(correction: Correction, photo: Photograph) -> None:
    if correction.photo_sha256 not in (None, photo.sha256):
        raise OutlineError(
            "the correction was drawn on another photograph.",
            where=photo.name,
            do="Give the correction that belongs to it, or draw it again.",
        )


def _redrawn(edge: Edge, at: Array, outward: int, pixels: NDArray[np.uint8]) -> Edge:
    """Put drawn points (n, 2) px, NaN where nothing was drawn, in place of an edge's points."""
    drawn = _inside(at, pixels)
    if not drawn.any():
        return edge
    points = np.where(drawn[:, None], at, edge.points)
    return Edge(
        points,
        np.where(drawn[:, None], outward * _right_normals(points), edge.normals),
        np.where(drawn, DRAWN_SD_PX, edge.sd_px),
        edge.sure | drawn,
    )


def _doubted(edge: Edge, doubt: NDArray[np.bool_]) -> Edge:
    sure = edge.sure & ~doubt
    sure &= uniform_filter1d(sure.astype(float), _AMID_ROWS, mode="nearest") >= 0.5
    return replace(
        edge, sure=sure, sd_px=np.where(sure, edge.sd_px, np.maximum(edge.sd_px, 2.0 * _UNSURE_PX))
    )


def _refuse_cut_off(outline: Outline, photo: Photograph) -> None:
    for side, edge in zip(("left", "right"), outline.edges, strict=True):
        if len(edge.points) and np.mean(~_inside(edge.points, photo.pixels)) > _MOST_CUT_OFF:
            raise OutlineError(
                f"the limb's {side} edge leaves the picture.",
                where=photo.name,
                do="Step back or turn the phone so that the whole limb is in the picture.",
            )


def _refuse_unsure(outline: Outline, name: str) -> None:
    heights = outline.heights[0]
    seen = float(heights[-1] - heights[0]) if len(heights) else 0.0
    if seen < _LEAST_MM:
        raise OutlineError(
            f"only {seen:.0f} mm of the limb can be told from what is behind it.",
            where=name,
            do="Use a backdrop of another colour than the skin, and keep the other leg away from this one.",
        )
    for side, edge in zip(("left", "right"), outline.edges, strict=True):
        if edge.sure.mean() < _LEAST_SURE:
            raise OutlineError(
                f"the limb's {side} edge cannot be told from what is behind it.",
                where=name,
                do="Use a backdrop of another colour than the skin and even light, give the file as the "
                "phone saved it, or draw the edge by hand.",
            )


def _top(areas: Iterable[Area], axis_from_world: Pose) -> float:
    return max((float(axis_from_world.apply(area.outline)[:, 2].max()) for area in areas), default=1000.0)


def _sample(pixels: NDArray[np.uint8], at: Array) -> NDArray[np.float32]:
    """Read linear light at positions (n, m, 2) px, as (n, m, 3) brightness and colour differences."""
    size = np.array(pixels.shape[1::-1])
    known = np.nan_to_num(at.reshape(-1, 2), nan=0.0)
    low = np.clip(np.floor(known.min(axis=0)).astype(int) - 2, 0, size - 1)
    high = np.clip(np.ceil(known.max(axis=0)).astype(int) + 3, low + 1, size)
    crop = linear_light(pixels[low[1] : high[1], low[0] : high[0]])
    return np.asarray(read_between(crop, at - low) @ _CHANNELS, np.float32)


def _near_edge(pixels: NDArray[np.uint8], strip: Strip, region: Region, index: int, offsets: Array) -> Array:
    """Move a boundary of the strip to the step in the photograph next to it: (n,) offsets, mm."""
    pitch = strip.pixel_mm()
    shift = np.arange(-_REACH_MM, _REACH_MM + pitch / 2, pitch)
    across = gaussian_filter1d(offsets, 3.0)[:, None] + shift
    heights = strip.heights[region.rows]
    at = strip.photo_from_plane(*np.broadcast_arrays(across, heights[:, None]))
    light = gaussian_filter1d(_sample(pixels, at), _ALONG, axis=0, mode="nearest")
    noise = 2.0 * _noise(light)
    step = sum(explained_by_step(light, half, _USUAL_BLUR_PX, noise) for half in _STEP_HALVES_PX)
    evidence = _on_strip(region.evidence[index], strip, region, across)
    outward = (-1, 1)[index]
    score = _STEP_GAIN * step + outward * np.cumsum(evidence, axis=1) * (pitch / STEP_MM)
    path = best_path(score.astype(np.float32), stiffness=_STIFFNESS, reach=3)
    return np.asarray(across[np.arange(len(path)), path])


def _noise(light: NDArray[np.float32]) -> Array:
    """Noise of each channel from second differences over two pixels, which share little."""
    second = light[:, 4:] - 2.0 * light[:, 2:-2] + light[:, :-4]
    size = 1.4826 * np.median(np.abs(second), axis=(0, 1)) / np.sqrt(6.0)
    return np.asarray(size + _LEAST_NOISE[: len(size)])


def _on_strip(table: Values, strip: Strip, region: Region, across: Array) -> Values:
    column = (across - strip.offsets[0]) / STEP_MM
    row = np.broadcast_to(region.rows[:, None], across.shape)
    return np.asarray(read_between(table, np.stack([column, row], axis=-1)), np.float32)


def _sub_pixel_edge(pixels: NDArray[np.uint8], points: Array, outward: int, blur: float) -> Edge:
    """Refine edge points (n, 2), ordered down the limb, along their normals."""
    for reach in (3.0, 2.5, 1.5):
        smooth = gaussian_filter1d(_without_spikes(points), _SMOOTH_ROWS, axis=0, mode="nearest")
        normals = outward * _right_normals(smooth)
        fit = _fit_along(pixels, smooth, normals, reach, blur)
        points = smooth + fit.position[:, None] * normals
    sd = np.hypot(fit.sd, _FLOOR_PX)
    sure = _sure(points, normals, fit, sd) & _inside(points, pixels)
    return Edge(points, normals, np.where(sure, sd, np.maximum(sd, 2.0 * _UNSURE_PX)), sure)


def _fit_along(
    pixels: NDArray[np.uint8], points: Array, normals: Array, reach: float, blur: float
) -> StepFit:
    colour_blur = float(np.hypot(blur, _COLOUR_BLUR_PX))
    light = _across(pixels, points, normals)
    return fit_steps(light, _HALF_PX, np.array([blur, colour_blur, colour_blur]), reach, _COLOUR_NOISE)


def _across(pixels: NDArray[np.uint8], points: Array, normals: Array) -> NDArray[np.float32]:
    """Read profiles across an edge, averaged a little along it."""
    s = np.arange(-_HALF_PX - 3, _HALF_PX + 4)
    light = _sample(pixels, points[:, None] + s[None, :, None] * normals[:, None])
    return np.asarray(gaussian_filter1d(light, _ALONG, axis=0, mode="nearest"))


def _picture_blur(pixels: NDArray[np.uint8], edges: Iterable[Array]) -> float:
    """Measure the point spread where either edge is a clear step of brightness."""
    profiles = []
    for points in edges:
        smooth = gaussian_filter1d(_without_spikes(points), _SMOOTH_ROWS, axis=0, mode="nearest")
        profiles.append(_across(pixels, smooth, _right_normals(smooth))[..., 0])
    light = np.concatenate(profiles)
    noise = float(_noise(light[..., None])[0])
    return estimate_blur(light, _HALF_PX, _BLURS_PX, 12.0 * noise) or _USUAL_BLUR_PX


def _without_spikes(points: Array) -> Array:
    """Replace points that leave their neighbours' line by more than a few pixels by that line."""
    smooth = median_filter(points, size=(9, 1), mode="nearest")
    # the median of a sloping line is the line itself, so only spikes are far from it
    spike = np.linalg.norm(points - smooth, axis=1) > 3.0 * _OUTLIER_PX + _median_step(points)
    return np.where(spike[:, None], smooth, points)


def _median_step(points: Array) -> float:
    return float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def _right_normals(points: Array) -> Array:
    """Return unit normals to the right of a curve that runs down the limb."""
    along = np.gradient(gaussian_filter1d(points, 2.0, axis=0, mode="nearest"), axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return np.stack([along[:, 1], -along[:, 0]], axis=1)


def _sure(points: Array, normals: Array, fit: StepFit, sd: Array) -> NDArray[np.bool_]:
    """Tell points that rest on a clear step and keep to their neighbours' line."""
    line = gaussian_filter1d(median_filter(points, size=(11, 1), mode="nearest"), 3.0, axis=0, mode="nearest")
    off = np.abs(np.sum((points - line) * normals, axis=1))
    # a patch that looks like the backdrop notches the edge: limbs do not bend that sharply above the instep
    course = median_filter(points, size=(_NOTCH_ROWS, 1), mode="nearest")
    notch = np.abs(np.sum((points - course) * normals, axis=1)) > _NOTCH_MM / STEP_MM * _median_step(points)
    notch[-_NOTCH_ROWS:] = False
    clear = ~notch & (fit.gain > _LEAST_GAIN) & (sd < _UNSURE_PX) & (np.abs(fit.position) < 1.45)
    return np.asarray(clear & (off < _OUTLIER_PX))


def _inside(points: Array, pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    size = np.array(pixels.shape[1::-1])
    return np.asarray(np.all((points > _BORDER_PX) & (points < size - 1 - _BORDER_PX), axis=1))


def _upwards(edge: Edge, keep: NDArray[np.bool_]) -> Edge:
    back = np.flatnonzero(keep)[::-1]
    return Edge(edge.points[back], edge.normals[back], edge.sd_px[back], edge.sure[back])


def _stretches(side: str, flags: NDArray[np.bool_], heights: Array) -> list[Stretch]:
    steps = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]]))).reshape(-1, 2)
    found = [Stretch(side, float(heights[a]), float(heights[b - 1])) for a, b in steps]
    return [stretch for stretch in found if stretch.to_mm - stretch.from_mm >= 10.0]
