"""One edge of the limb, from a rough line in the strip to sub-pixel points with their sd."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, gaussian_filter1d, maximum_filter1d, median_filter

from digitise.capture.light_steps.profiles import USUAL_BLUR_PX, sample_light, sample_noise
from digitise.capture.light_steps.step_model import StepFit, estimate_blur, explained_by_step, fit_steps
from digitise.capture.light_steps.viterbi import best_path
from digitise.capture.outline.region import Region
from digitise.capture.outline.sub_pixel.bends import SMOOTH, Line, line_through, straight_line
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.photo.resample import read_between
from digitise.capture.surroundings.sheet_colour import Values
from digitise.geometry.rigid import Array
from digitise.geometry.view import Edge

_BLURS_PX = (0.6, 0.75, 0.9, 1.1, 1.4, 1.8, 2.3, 3.0)
_COLOUR_BLUR_PX = 1.25  # added by the halved resolution
_COLOUR_NOISE = np.array([1.0, 2.0, 2.0])  # half resolution: neighbouring samples repeat each other's noise
_REACH_MM = 30.0
_STEP_GAIN = 6.0  # a perfect step at both scales weighs as much as 6 mm of full evidence
_STEP_HALVES_PX = (6, 11)
_STIFFNESS = 0.5
_ONTO_PX, _ONTO_SD_PX = 14, 6.0  # a row's point lies up to 10 px beside a lip: rendered lobes
_ONTO_ROWS = 2.0
_STAYS = 50.0  # more than any step gains: points elsewhere stay
PASSES = 6  # points: beside a rendered stick up to four were taken for the limb's
_ALONG = 1.5  # rows: profiles are averaged along the edge with this sd
_HALF_PX = 8
_FLOOR_PX = 0.25  # what the point spread and tone curve leave unknown
UNSURE_PX = 1.0
_OUTLIER_PX = 1.5
_NOTCH_ROWS = 61
_NOTCH_MM = 4.0
_BEYOND_MM = 12.0
_PLAIN = 0.06  # a lit sheet varies less over a few centimetres; the shaded side of a dressing varies more
_LEAST_GAIN = 60.0  # chi-square: steps that noise and the grain of skin make stay below
_BORDER_PX = 4.0


def near_edge(pixels: NDArray[np.uint8], strip: Strip, region: Region, index: int, offsets: Array) -> Array:
    """Move a boundary of the strip to the step in the photograph next to it.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    strip, region
        Its strip and the limb in it.
    index
        0 for the left boundary, 1 for the right.
    offsets
        (n,) the boundary, mm from the axis, one for each of the region's rows.

    Returns
    -------
    (n,) offsets, mm.
    """
    pitch, outward = strip.pixel_mm(), (-1, 1)[index]
    shift = np.arange(-_REACH_MM, _REACH_MM + pitch / 2, pitch)
    across = gaussian_filter1d(offsets, 3.0)[:, None] + shift
    heights = strip.heights[region.rows]
    at = strip.photo_from_plane(*np.broadcast_arrays(across, heights[:, None]))
    light = gaussian_filter1d(sample_light(pixels, at), _ALONG, axis=0, mode="nearest")
    light = without_print(light, region.printed[index], outward)
    step = _told_by_step(light)
    evidence = _on_strip(region.evidence[index], strip, region, across)
    score = _STEP_GAIN * step + outward * np.cumsum(evidence, axis=1) * (pitch / STEP_MM)
    path = best_path(score.astype(np.float32), stiffness=_STIFFNESS, reach=3)
    return np.asarray(across[np.arange(len(path)), path])


def _on_strip(table: Values, strip: Strip, region: Region, across: Array) -> Values:
    column = (across - strip.offsets[0]) / STEP_MM
    row = np.broadcast_to(region.rows[:, None], across.shape)
    return np.asarray(read_between(table, np.stack([column, row], axis=-1)), np.float32)


def sub_pixel_edge(
    pixels: NDArray[np.uint8],
    points: Array,
    outward: int,
    blur: float,
    printed: NDArray[np.bool_],
    *,
    bends: bool = True,
) -> Edge:
    """Refine an edge along its normals to a fraction of a pixel.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    points
        (n, 2) px, ordered down the limb, within a few pixels of the edge.
    outward
        -1 for the left edge, 1 for the right.
    blur
        Standard deviation of the picture's point spread, px.
    printed
        (n,) True where printed paper is behind: there the edge is told by hue alone.
    bends
        Whether it is followed round sharp bends. Beside a support, those are where the limb's edge goes over
        into the support's: there the line stays straight, and what leaves it is not sure.
    """
    line = line_through(points) if bends else straight_line(points)
    printed = line.of_rows(printed)
    points = _onto_step(pixels, line, outward, printed)
    for reach in (3.0, 2.5, 1.5):
        smooth = line.smoothed(_without_spikes(points))
        normals = outward * right_normals(smooth)
        fit = _fit_along(pixels, smooth, normals, reach, blur, printed)
        points = smooth + fit.position[:, None] * normals
    sd = np.hypot(fit.sd, _FLOOR_PX)
    sure = _sure(line, points, normals, fit, sd) & inside_picture(points, pixels)
    sure &= ~_notched(pixels, points, normals)
    least = np.where(sure, sd, np.maximum(sd, 2.0 * UNSURE_PX))
    return Edge(points, normals, least, sure, np.ones_like(sure)).pick(line.rows)


def _onto_step(pixels: NDArray[np.uint8], line: Line, outward: int, printed: NDArray[np.bool_]) -> Array:
    """Return the line's points (m, 2), those where it is bent on the step of light next to them."""
    if not line.bent.any():
        return line.points
    smooth = line.smoothed(line.points, _ONTO_ROWS)
    normals = outward * right_normals(smooth)
    shift = np.arange(-_ONTO_PX, _ONTO_PX + 1)
    most = max(_STEP_HALVES_PX)
    s = np.arange(shift[0] - most, shift[-1] + most + 1)
    light = sample_light(pixels, smooth[:, None] + s[None, :, None] * normals[:, None])
    light = without_print(gaussian_filter1d(light, _ALONG, axis=0, mode="nearest"), printed, 1)
    score = _STEP_GAIN * _told_by_step(light)[:, most:-most] - 0.5 * (shift / _ONTO_SD_PX) ** 2
    score = np.where(line.bent[:, None], score, -_STAYS * np.abs(shift))
    path = best_path(score.astype(np.float32), stiffness=_STIFFNESS, reach=2)
    return np.where(line.bent[:, None], smooth + shift[path][:, None] * normals, line.points)


def _told_by_step(light: NDArray[np.float32]) -> Array:
    """Return what a step at each place of profiles (n, m, 3) explains, at both scales together: (n, m)."""
    noise = 2.0 * sample_noise(light)
    return np.asarray(sum(explained_by_step(light, half, USUAL_BLUR_PX, noise) for half in _STEP_HALVES_PX))


def _fit_along(
    pixels: NDArray[np.uint8],
    points: Array,
    normals: Array,
    reach: float,
    blur: float,
    printed: NDArray[np.bool_],
) -> StepFit:
    colour_blur = float(np.hypot(blur, _COLOUR_BLUR_PX))
    light = without_print(_across(pixels, points, normals), printed, 1)
    return fit_steps(light, _HALF_PX, np.array([blur, colour_blur, colour_blur]), reach, _COLOUR_NOISE)


def _across(pixels: NDArray[np.uint8], points: Array, normals: Array) -> NDArray[np.float32]:
    """Read profiles across an edge, averaged a little along it."""
    s = np.arange(-_HALF_PX - 3, _HALF_PX + 4)
    light = sample_light(pixels, points[:, None] + s[None, :, None] * normals[:, None])
    return np.asarray(gaussian_filter1d(light, _ALONG, axis=0, mode="nearest"))


def without_print(
    light: NDArray[np.float32], printed: NDArray[np.bool_], outward: int
) -> NDArray[np.float32]:
    """Take print out of profiles across an edge: what is left is nought on paper and on ink.

    Parameters
    ----------
    light
        (n, m, 3) brightness and two colour differences along n lines, the edge near the middle.
    printed
        (n,) lines that end on printed paper.
    outward
        1 where the lines run from the limb to the paper, -1 the other way.

    Notes
    -----
    Paper and ink differ in brightness Y; both send back colour differences k Y with one k, the hue of the
    light that falls on them: in linear light ``c - k Y`` is nought on either, and on their blurred borders.
    """
    if not printed.any():
        return light
    first = light.shape[1] // 2 + 3
    beyond = light[printed][:, ::outward][:, first : first + _HALF_PX]
    brightness = beyond[..., :1]
    hue = np.sum(beyond * brightness, axis=(0, 1)) / np.maximum(np.sum(brightness**2, axis=(0, 1)), 1e-9)
    found = light.copy()
    found[printed] -= hue * light[printed][..., :1]
    return found


def picture_blur(pixels: NDArray[np.uint8], edges: Iterable[Array]) -> float:
    """Measure the point spread where an edge is a clear step of brightness.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    edges
        Each (n, 2) px, ordered down the limb.

    Returns
    -------
    Standard deviation, px; a phone's usual one where no edge is clear enough.
    """
    profiles = []
    for points in edges:
        smooth = gaussian_filter1d(_without_spikes(points), SMOOTH, axis=0, mode="nearest")
        profiles.append(_across(pixels, smooth, right_normals(smooth))[..., 0])
    light = np.concatenate(profiles)
    noise = float(sample_noise(light[..., None])[0])
    return estimate_blur(light, _HALF_PX, _BLURS_PX, 12.0 * noise) or USUAL_BLUR_PX


def _without_spikes(points: Array) -> Array:
    """Replace points that leave their neighbours' line by more than a few pixels by that line."""
    smooth = median_filter(points, size=(9, 1), mode="nearest")
    # the median of a sloping line is the line itself, so only spikes are far from it
    spike = np.linalg.norm(points - smooth, axis=1) > 3.0 * _OUTLIER_PX + _median_step(points)
    return np.where(spike[:, None], smooth, points)


def _median_step(points: Array) -> float:
    return float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1)))


def right_normals(points: Array) -> Array:
    """Return unit normals to the right of a curve that runs down the limb."""
    along = np.gradient(gaussian_filter1d(points, 2.0, axis=0, mode="nearest"), axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return np.stack([along[:, 1], -along[:, 0]], axis=1)


def _sure(line: Line, points: Array, normals: Array, fit: StepFit, sd: Array) -> NDArray[np.bool_]:
    """Tell points that rest on a clear step and keep to their neighbours' line."""
    wide, tight = (median_filter(points, size=(size, 1), mode="nearest") for size in (11, 5))
    course = line.smoothed(np.where(line.bent[:, None], tight, wide), 3.0)
    off = np.abs(np.sum((points - course) * normals, axis=1))
    clear = (fit.gain > _LEAST_GAIN) & (sd < UNSURE_PX) & (np.abs(fit.position) < 1.45)
    sure = np.asarray(clear & (off < _OUTLIER_PX), bool)
    # a line that bends passes from one body's edge to another's as smoothly as round a lip
    return sure & ~(line.bent & maximum_filter1d(~sure, 2 * PASSES + 1))


def _notched(pixels: NDArray[np.uint8], points: Array, normals: Array) -> NDArray[np.bool_]:
    """Tell points that dip in without plain backdrop beyond: there a dressing looks like the backdrop.

    Above the instep only the valley between two lobes dips in as sharply, and that shows the backdrop.
    """
    course = median_filter(points, size=(_NOTCH_ROWS, 1), mode="nearest")
    px_per_mm = _median_step(points) / STEP_MM
    depth = np.sum((course - points) * normals, axis=1)
    notch = depth > _NOTCH_MM * px_per_mm
    notch[-_NOTCH_ROWS:] = False
    if notch.any():
        reach = int(depth.max() + _BEYOND_MM * px_per_mm) + _HALF_PX
        notch[notch] = ~_is_plain(pixels, points[notch], normals[notch], reach)
    return np.asarray(notch, bool)


def _is_plain(pixels: NDArray[np.uint8], points: Array, normals: Array, reach: int) -> NDArray[np.bool_]:
    """Tell beside which points (n, 2) the brightness hardly varies from 5 px outside to ``reach`` px."""
    s = np.arange(5, reach + 1)
    light = sample_light(pixels, points[:, None] + s[None, :, None] * normals[:, None])[..., 0]
    smooth = gaussian_filter(light, (3.0, 2.0), mode="nearest")
    return np.asarray(np.ptp(smooth, axis=1) < _PLAIN * np.abs(smooth.mean(axis=1)))


def inside_picture(points: Array, pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """Tell which points (n, 2) px lie in the picture and not at its very border."""
    size = np.array(pixels.shape[1::-1])
    return np.asarray(np.all((points > _BORDER_PX) & (points < size - 1 - _BORDER_PX), axis=1))
