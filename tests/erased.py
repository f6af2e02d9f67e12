"""Photographs in which nobody can find the limb: the sample's, with the limb painted over by its backdrop."""

from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from digitise.capture.calibration.markers import find_markers
from digitise.capture.checks.inspection import inspect_photos
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import read_field
from digitise.tape.table import read_tape
from digitise.workflow.measure import fit_outlines
from digitise.workflow.seen.outlines import find_outlines

_AROUND_PX = 61  # so that nothing of the limb's edge is left
_BESIDE_PX = 15


def measured(folder: Path):
    """What the photographs of a sample visit give before anything is painted over."""
    field = read_field(folder / "field.json")
    photos = tuple(read_photo(folder / f"photo-{n}.jpg") for n in (1, 2))
    markers = [find_markers(photo, field) for photo in photos]
    outlined = find_outlines(photos, inspect_photos(photos, markers, field), field)
    return fit_outlines(outlined, read_tape(folder / "tape.csv"))


def erase(folder: Path, outlines, into: Path) -> list[Path]:
    """Write the photographs of a folder with their limb painted over, and return where they are."""
    paths = []
    for number, outline in enumerate(outlines, start=1):
        source = folder / f"photo-{number}.jpg"
        pixels = read_photo(source).pixels.copy()
        _paint_over(pixels, outline)
        paths.append(into / source.name)
        Image.fromarray(pixels).save(paths[-1], quality=95, exif=Image.open(source).getexif())
    return paths


def _paint_over(pixels, outline) -> None:
    left, right = outline.edges
    around = np.concatenate([left.points, right.points[::-1]]).astype(np.int32)
    mask = cv2.fillPoly(np.zeros(pixels.shape[:2], np.uint8), [around], 1)
    mask = cv2.dilate(mask, np.ones((_AROUND_PX, _AROUND_PX), np.uint8))
    grain = np.random.default_rng(1)
    for row in np.flatnonzero(mask.any(axis=1)):
        low, high = np.flatnonzero(mask[row])[[0, -1]]
        before = pixels[row, max(0, low - _BESIDE_PX) : low].mean(axis=0)
        after = pixels[row, high + 1 : high + 1 + _BESIDE_PX].mean(axis=0)
        share = np.linspace(0, 1, high - low + 1)[:, None]
        painted = before * (1 - share) + after * share + grain.normal(0, 2, (high - low + 1, 3))
        pixels[row, low : high + 1] = np.clip(painted, 0, 255)
