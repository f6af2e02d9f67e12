"""Is it one limb? Colour of the skin and height of the hem, compared between photographs of one visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from digitise.capture.calibration.markers import Detection
from digitise.capture.checks.together import Clash
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph, linear_light
from digitise.capture.sheets.field import MarkerField
from digitise.geometry.rigid import Array

# Differences of log light over that of white paper: what is odd, and what is not of one limb. Over six made
# visits one limb from two sides differed by up to 0.35 in brightness and 0.14 in tint, in light from one
# window by 1.4 in brightness. The tones of dark and light skin lie 1.6-2.5 apart.
# Where light from one side makes a limb as different from itself as two limbs are, brightness tells
# nothing.
_BRIGHTNESS = (1.5, 2.2)
_TINT = (0.25, 0.5)
# A hem hangs lower behind than in front by a few centimetres; mm.
_HEM_MM = 80.0
# A limb may end at the rim of panel or picture; these differ by less than this from side to side.
_TOP_MM = 150.0
# Share of the width left out on either side, where the edge's blur reaches, and at either end.
_RIM = 0.1
_MOST_LIGHT = 0.9  # of full light: beyond, a channel may be cut off and its tint is lost
_RANGE = (5.0, 95.0)  # percent of the skin that lies within its range of brightness
_ENDS = 6
_ACROSS = 13
_LEAST_ROWS = 20
_PAPER_PERCENTILE = 90.0  # of the light within a marker's box: half of it is paper


@dataclass(frozen=True)
class SkinTone:
    """Colour of a limb over that of white paper beside it.

    Attributes
    ----------
    brightness
        Log light, green, of the middle one of all places on the limb.
    red, blue
        Log light over green's.
    darkest, brightest
        Log light, green, between which nearly all of the limb lies.
    """

    brightness: float
    red: float
    blue: float
    darkest: float
    brightest: float


def skin_tone(
    photo: Photograph, detections: Sequence[Detection], outline: Outline, field: MarkerField
) -> SkinTone | None:
    """Measure the skin's colour along the middle of a limb, None where too little of it is sure."""
    skin = _skin_light(photo, outline)
    paper = _paper_light(photo, detections, field)
    if skin is None or paper is None:
        return None
    red, green, blue = np.log(np.maximum(skin, 1e-4) / np.maximum(paper, 1e-4)).T
    darkest, brightest = np.percentile(green, _RANGE)
    told = np.max(skin, axis=1) < _MOST_LIGHT
    if np.count_nonzero(told) < len(told) / 2:
        return None
    middle = float(np.median(green))
    tint = [float(np.median((channel - green)[told])) for channel in (red, blue)]
    return SkinTone(middle, tint[0], tint[1], float(darkest), float(brightest))


def _skin_light(photo: Photograph, outline: Outline) -> Array | None:
    """Return the light (n, 3) at places all over the limb's middle, None where too little of it is sure."""
    left, right = outline.edges
    rows = min(len(left.points), len(right.points))
    keep = left.sure[:rows] & left.seen[:rows] & right.sure[:rows] & right.seen[:rows]
    keep[: rows // _ENDS] = False
    keep[rows - rows // _ENDS :] = False
    if np.count_nonzero(keep) < _LEAST_ROWS:
        return None
    across = np.linspace(_RIM, 1 - _RIM, _ACROSS)[:, None, None]
    start, end = left.points[:rows][keep], right.points[:rows][keep]
    at = np.round(start + across * (end - start)).astype(int).reshape(-1, 2)
    height, width = photo.pixels.shape[:2]
    at = at[np.all((at >= 0) & (at < [width, height]), axis=1)]
    if len(at) < _LEAST_ROWS:
        return None
    return np.asarray(linear_light(photo.pixels[at[:, 1], at[:, 0]]), dtype=float)


def _paper_light(photo: Photograph, detections: Sequence[Detection], field: MarkerField) -> Array | None:
    backdrop = {i for board in field.boards if board.role == "backdrop" for i in board.ids}
    height, width = photo.pixels.shape[:2]
    whites = []
    for marker in (each for each in detections if each.id in backdrop):
        left, top = np.clip(np.floor(marker.corners.min(axis=0)).astype(int), 0, [width - 2, height - 2])
        right, bottom = np.ceil(marker.corners.max(axis=0)).astype(int) + 1
        box = linear_light(photo.pixels[top:bottom:2, left:right:2].reshape(-1, 3))
        if len(box):
            whites.append(np.percentile(box, _PAPER_PERCENTILE, axis=0))
    return np.asarray(np.median(whites, axis=0), dtype=float) if whites else None


def check_limb(tones: Sequence[SkinTone | None], outlines: Sequence[Outline]) -> tuple[Clash, ...]:
    """Find in what photographs differ by the colour of the skin and by where cloth and limb end."""
    clashes: list[Clash] = []
    for a, b in combinations(range(len(outlines)), 2):
        clashes += _tone_clash(a, b, tones)
        clashes += _hem_clash(a, b, outlines)
        clashes += _top_clash(a, b, outlines)
    return tuple(clashes)


def _tone_clash(a: int, b: int, tones: Sequence[SkinTone | None]) -> list[Clash]:
    first, second = tones[a], tones[b]
    if first is None or second is None:
        return []
    apart = max(first.darkest - second.brightest, second.darkest - first.brightest)
    brightness = abs(first.brightness - second.brightness) if apart > 0.0 else 0.0
    tint = float(np.hypot(first.red - second.red, first.blue - second.blue))
    if brightness < _BRIGHTNESS[0] and tint < _TINT[0]:
        return []
    grave = brightness > _BRIGHTNESS[1] or tint > _TINT[1]
    if brightness >= _BRIGHTNESS[0]:
        darker = (a if first.brightness < second.brightness else b) + 1
        text = f"beside the white sheets the skin is {np.exp(brightness):.1f} times darker in {darker}"
    else:
        text = "beside the white sheets the skin has another tint"
    return [Clash(a, b, "skin-colour", grave, text)]


def _hem_clash(a: int, b: int, outlines: Sequence[Outline]) -> list[Clash]:
    first, second = outlines[a].hem_mm, outlines[b].hem_mm
    if first is None or second is None or abs(first - second) < _HEM_MM:
        return []
    text = f"cloth begins at {first:.0f} mm in one and at {second:.0f} mm in the other"
    return [Clash(a, b, "hem", False, text)]


def _top_clash(a: int, b: int, outlines: Sequence[Outline]) -> list[Clash]:
    first, second = (float(outlines[n].heights[0][-1]) for n in (a, b))
    if abs(first - second) < _TOP_MM:
        return []
    text = f"the limb is seen up to {first:.0f} mm in one and up to {second:.0f} mm in the other"
    return [Clash(a, b, "limb-top", False, text)]
