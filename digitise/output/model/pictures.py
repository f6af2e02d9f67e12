"""Each photograph with the edge that was found in it, so that a person sees at a glance what was measured."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from digitise.capture.expected.outline import BodyOutline
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.cores import for_each
from digitise.fonts import BOLD, REGULAR
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.output.model.measured import Measured
from digitise.output.model.segments import outline_name
from digitise.shape.limb import Limb
from digitise.shape.section import near_half
from digitise.words import shown

Pixels = NDArray[np.uint8]
Colour = tuple[int, int, int]

LONG_SIDE_PX = 1600
# Blue and yellow are told apart with every kind of colour vision; neither is a skin's, and the dark halo
# parts them from light skin and light backdrops.
SURE: Colour = (60, 190, 255)
UNSURE: Colour = (255, 225, 60)
_HALO: Colour = (15, 15, 25)
_LEVEL: Colour = (255, 255, 255)
_MARGIN = 0.45  # of the limb's width
_LEAST_ASPECT = 0.6
_LABEL_PX = 180
_TICK_MM = 100.0
_CROWDED = 0.35  # of a tick
_DIMMED = 0.55
_QUALITY = 88
_SHIFT = 4  # OpenCV takes fractions of a pixel as fixed-point numbers
_DASH_PX, _GAP_PX = 14.0, 9.0
_LEGEND = (
    (SURE, False, "edge found"),
    (UNSURE, True, "edge unsure: counts little"),
    (_LEVEL, False, "height; darkened: not measured"),
)


@dataclass(frozen=True)
class Frame:
    """Which part of a photograph a picture shows.

    Attributes
    ----------
    corner
        Column and row of the part's first pixel in the photograph.
    size
        (width, height) of the part, photograph pixels.
    scale
        Picture pixels per photograph pixel.
    """

    corner: tuple[int, int]
    size: tuple[int, int]
    scale: float

    def picture_from_photo(self, points: Array) -> Array:
        """Map photograph pixels (..., 2) to picture pixels; pixel centres lie on integers in both."""
        return np.asarray((points - self.corner + 0.5) * self.scale - 0.5)


@dataclass(frozen=True)
class OutlinePicture:
    """A drawn picture (H, W, 3) uint8 RGB, and the part of the photograph it shows at its top left."""

    pixels: Pixels
    frame: Frame


def write_pictures(folder: Path, measured: Measured) -> None:
    """Write outline-1.jpg, outline-2.jpg ... without any of the photographs' metadata, nor their names.

    Raises
    ------
    OSError
        A file cannot be written.
    """
    cameras, limb = measured.calibration.cameras, measured.fit.limb

    def write(number: int, photo: Photograph, name: str, outline: Outline, camera: Camera) -> None:
        picture = draw_outline(replace(photo, name=name), outline, camera, limb)
        Image.fromarray(picture.pixels).save(folder / outline_name(number), "JPEG", quality=_QUALITY)

    numbers = range(1, len(measured.photos) + 1)
    for_each(write, numbers, measured.photos, measured.file_names, measured.outlines, cameras)
    if measured.end is not None:
        seen = zip(measured.end.photos, measured.end_file_names, measured.end.outlines, strict=True)
        for number, (photo, name, found) in enumerate(seen, start=len(measured.photos) + 1):
            drawn = draw_end(replace(photo, name=name), found, f"{limb.side} {measured.end.part.name}")
            Image.fromarray(drawn).save(folder / outline_name(number), "JPEG", quality=_QUALITY)


def draw_outline(
    photo: Photograph,
    outline: Outline,
    camera: Camera,
    limb: Limb,
    read: Callable[[str], str] = shown,
) -> OutlinePicture:
    """Draw the found edge and the heights onto the part of the photograph that shows the limb.

    Parameters
    ----------
    photo
        The photograph.
    outline
        Its edges.
    camera
        Its camera.
    limb
        The limb that was found; gives the rings of equal height.
    read
        Gives words with a height in mm as they are read: in the reader's language, and unit.

    Returns
    -------
    The picture, at most 1600 px on its long side, with a legend below.
    """
    arcs = {z: front_arc(limb, camera, z) for z in _heights(limb)}
    seen = {z: arc for z, arc in arcs.items() if len(arc) > 1}
    frame = _frame(photo.pixels.shape[1::-1], outline, tuple(seen.values()))
    rings = {z: frame.picture_from_photo(arc) for z, arc in seen.items()}
    pixels = cut_out(photo.pixels, frame)
    ends = (limb.from_mm, limb.to_mm)
    if all(end in rings for end in ends):
        _dim_outside(pixels, rings[limb.from_mm], rings[limb.to_mm])
    for z, ring in rings.items():
        draw_line(pixels, ring, _LEVEL, 4 if z in ends else 2)
    for edge in outline.edges:
        points = frame.picture_from_photo(edge.points)
        for run in _stretches(edge.sure):
            draw_line(pixels, points[run], SURE, 2)
        for run in _stretches(~edge.sure):
            _dashes(pixels, points[run], UNSURE, 3)
    image = with_legend(Image.fromarray(pixels), f"{photo.name}: {limb.side} {limb.kind}", _LEGEND)
    _label_heights(image, rings, ends, read)
    return OutlinePicture(np.asarray(image), frame)


def draw_end(photo: Photograph, outline: BodyOutline, words: str) -> Pixels:
    """Draw the outline of what ``words`` call it onto the part of a photograph that shows it."""
    corner, size = outline.crop.part
    frame = Frame(corner, size, min(1.0, LONG_SIDE_PX / max(size)))
    pixels = cut_out(photo.pixels, frame)
    points = frame.picture_from_photo(outline.edge.points)
    for run in _stretches(outline.edge.seen):
        draw_line(pixels, points[run], SURE, 2)
    legend = ((SURE, False, "edge that was found; no line: hidden, or a gap"),)
    return np.asarray(with_legend(Image.fromarray(pixels), f"{photo.name}: {words}", legend))


def front_arc(limb: Limb, camera: Camera, z: float) -> Array:
    """Return the near half of the limb's section at height ``z`` as photograph pixels (N, 2), rim to rim.

    None of it (N = 0) is seen by a camera within the section.
    """
    arc = camera.project(near_half(limb, camera.centre, z))
    return arc[np.all(np.isfinite(arc), axis=1)]


def _heights(limb: Limb) -> list[float]:
    """Return the ends and the ticks between, but for those whose label would cover an end's."""
    first, last = (round(end / _TICK_MM) for end in (limb.from_mm, limb.to_mm))
    ticks = (number * _TICK_MM for number in range(first, last + 1))
    near = _CROWDED * _TICK_MM
    return [limb.from_mm, *(z for z in ticks if limb.from_mm + near < z < limb.to_mm - near), limb.to_mm]


def _frame(size: tuple[int, ...], outline: Outline, rings: tuple[Array, ...]) -> Frame:
    points = np.concatenate([*(edge.points for edge in outline.edges), *rings])
    extent = np.ptp(points, axis=0)
    margin = _MARGIN * np.median([np.linalg.norm(ring[-1] - ring[0]) for ring in rings] or [extent.min()])
    # room beside a tall limb for its labels
    beside = max(
        _LABEL_PX * max(1.0, extent.max() / LONG_SIDE_PX), (_LEAST_ASPECT * extent[1] - extent[0]) / 2
    )
    around = np.array([max(margin, beside), margin])
    low = np.clip(np.floor(points.min(axis=0) - around), 0, np.array(size) - 2).astype(int)
    high = np.clip(np.ceil(points.max(axis=0) + around), low + 2, size).astype(int)
    part = high - low
    return Frame(
        (int(low[0]), int(low[1])), (int(part[0]), int(part[1])), min(1.0, LONG_SIDE_PX / part.max())
    )


def cut_out(pixels: Pixels, frame: Frame) -> Pixels:
    """Return the part of a photograph that a frame shows, at its scale."""
    (x, y), (width, height) = frame.corner, frame.size
    part = pixels[y : y + height, x : x + width]
    if frame.scale == 1.0:
        return np.array(part)
    # one scale for both directions, so that the frame's mapping is exact
    into = (max(1, round(width * frame.scale)), max(1, round(height * frame.scale)))
    move = np.array([[1.0, 0.0, 0.5], [0.0, 1.0, 0.5]]) * frame.scale - [[0, 0, 0.5], [0, 0, 0.5]]
    small = cv2.GaussianBlur(part, (0, 0), 0.35 / frame.scale)
    return np.asarray(cv2.warpAffine(small, move, into, borderMode=cv2.BORDER_REPLICATE), np.uint8)


def _dim_outside(pixels: Pixels, low: Array, high: Array) -> None:
    """Darken what lies beyond the lowest and the highest ring, along the limb whichever way it points."""
    along = high.mean(axis=0) - low.mean(axis=0)
    along /= max(float(np.linalg.norm(along)), 1e-9)
    across = np.array([-along[1], along[0]])
    far = sum(pixels.shape[:2]) * across
    first, last = (ring[np.argsort(ring @ across)] for ring in (low, high))
    between = np.concatenate(
        [[first[0] - far], first, [first[-1] + far, last[-1] + far], last[::-1], [last[0] - far]]
    )
    outside = np.ones(pixels.shape[:2], np.uint8)
    cv2.fillPoly(outside, [np.round(between).astype(np.int32)], 0)
    dark = cv2.LUT(pixels, (np.arange(256) * _DIMMED).astype(np.uint8))
    cv2.copyTo(dark, outside, pixels)


def _stretches(flags: NDArray[np.bool_]) -> list[slice]:
    """Return the stretches of True, each reaching to its neighbours so that the drawn line has no gaps."""
    return [slice(max(0, first - 1), last + 1) for first, last in true_runs(flags).tolist()]


def draw_line(pixels: Pixels, points: Array, colour: Colour, width: int) -> None:
    """Draw a line through points (N, 2) with a dark halo."""
    fixed = [np.round(points[:, None] * 2**_SHIFT).astype(np.int32)]
    for shade, thick in ((_HALO, width + 3), (colour, width)):
        cv2.polylines(pixels, fixed, False, shade, thick, cv2.LINE_AA, _SHIFT)


def _dashes(pixels: Pixels, points: Array, colour: Colour, width: int) -> None:
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    for start in np.arange(0.0, length[-1], _DASH_PX + _GAP_PX):
        at = np.linspace(start, min(start + _DASH_PX, length[-1]), 8)
        dash = np.stack([np.interp(at, length, points[:, axis]) for axis in (0, 1)], axis=1)
        draw_line(pixels, dash, colour, width)


@functools.cache
def _font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(BOLD if bold else REGULAR), size)


def _label_heights(
    image: Image.Image, rings: dict[float, Array], ends: tuple[float, float], read: Callable[[str], str]
) -> None:
    """Write each ring's height at its right end, or below it where the limb lies sideways in the picture."""
    pen = ImageDraw.Draw(image)
    middles = np.array([ring.mean(axis=0) for ring in rings.values()])
    sideways = len(middles) > 0 and np.ptp(middles[:, 0]) > np.ptp(middles[:, 1])
    for z, ring in rings.items():
        # between the ends the unit goes without saying
        between = read(f"{z:.0f} mm").rpartition(" ")[0]
        words = {ends[0]: read(f"from {z:.0f} mm"), ends[1]: read(f"to {z:.0f} mm")}.get(z, between)
        font = _font(26, z in ends)
        x, y = ring[np.argmax(ring[:, 1 if sideways else 0])]
        x, y = (x, y + 16) if sideways else (x + 16, y)
        place = (min(float(x), image.width - 8 - font.getlength(words)), float(y))
        anchor = "la" if sideways else "lm"
        pen.text(place, words, fill=_LEVEL, font=font, anchor=anchor, stroke_width=3, stroke_fill=_HALO)


def with_legend(image: Image.Image, title: str, lines: Sequence[tuple[Colour, bool, str]]) -> Image.Image:
    """Return the picture with a dark band below that says what was drawn: colour, whether dashed, words."""
    step = 40
    whole = Image.new("RGB", (image.width, image.height + step * (len(lines) + 1) + 12), _HALO)
    whole.paste(image)
    pen = ImageDraw.Draw(whole)
    y = image.height + 6 + step // 2
    # Pillow would break a name at a line end
    printable = "".join(c if c.isprintable() else "?" for c in shown(title))
    pen.text((16, y), printable, fill=_LEVEL, font=_font(24, True), anchor="lm")
    for colour, dashed, words in lines:
        y += step
        for x in range(16, 96, 23) if dashed else (16,):
            pen.line([(x, y), (x + 14 if dashed else 94, y)], fill=colour, width=4)
        pen.text((112, y), shown(words), fill=_LEVEL, font=_font(24), anchor="lm")
    return whole
