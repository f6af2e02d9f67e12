"""A lying limb told from sheet, shadows and supports by colour, once it is known where its axis runs.

Beside a limb that lies is its own shadow, which on a dark limb is as dark as the limb.  Limb and surroundings
are told apart with graph cuts (Rother, Kolmogorov and Blake 2004, "GrabCut", as OpenCV has it) on brightness
and hue: what lies on the axis is surely limb, what lies far from it surely is not.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.geometry.rigid import Array

_CORE_MM = 12.0  # half a thin wrist, less what the first axis is off
_REACH_MM = 120.0  # half a stout thigh
_CUTS = 4
SHINES = 0.3  # log units brighter than the sheet
LEAST_RED = -0.1  # log red over green of what shines: that of the light, while cloth and supports may be blue
_FULL_HUE = 0.85  # of the cells on the axis: the tenth with most hue may be a scar or a mark
_HALF, _CLEARLY = 0.5, 0.75  # of the way from the sheet's hue to the skin's
# Log units between the hues of skin and sheet: skin of any tone was 0.3 or more off white in the shade, and
# noise there is a third of this.
_LEAST_APART = 0.2
# Log units off white: skin as pale as any (reflectance 0.90, 0.73, 0.63 of red, green and blue) in the shade.
_PALEST = 0.25
_SPECK = np.ones((5, 5), np.uint8)  # 10 mm
LIKE_SHEET, _STANDS_OUT = 5.0, 20.0  # squared distances from the sheet's colour
_LEAST_ROW = 20  # cells of sheet tell its light on a row
# Log units warmer than the sheet, and at least so bright: skin in so much light that it is nearly white was
# warmer by 0.045 to 0.2, a white sheet beside it by up to 0.03; in the dark noise is as large.
_WARMER, _BRIGHT = 0.04, -0.7
_LIT = 0.9  # of the cells on the axis: skin is pale where a tenth of it is bright
_HUE_LOST = -3.2  # log of 4 % of full light: below, noise of a few in a byte is a tenth of what is there
# From log brightness and hue to a byte: e^-6 to 1, and hues to a factor of 5 either way.
_SCALE, _OFFSET = np.array([42.0, 80.0, 80.0]), np.array([252.0, 128.0, 128.0])
_BINS = 32
_SMOOTH_BINS = 0.8
_ANYTHING = 0.02  # one cell in fifty may be anything: a scar, a mark, a reflection
CLIP = 4.0  # log-likelihood ratio bound, as of the other evidence
LEAST_CELLS = 500  # 20 square centimetres


@dataclass(frozen=True)
class Cut:
    """What of a strip is limb.

    Attributes
    ----------
    limb
        (H, W) True where it is.
    evidence
        (H, W) log-likelihood ratio limb : surroundings of each cell's colour, bounded.
    like_skin
        (H, W) True where the hue is clearly the skin's, beside the sheet as well.
    dark
        (H, W) True where it is much darker than the sheet and not of the skin's hue, but not so dark that
        hue is lost.
    """

    limb: Mask
    evidence: Values
    like_skin: Mask
    dark: Mask


def cut_out(strip: Strip, panel: Panel, painted: NDArray[np.int8] | None = None) -> Cut | None:
    """Tell a lying limb from its surroundings; None where nothing on the axis is told from the sheet.

    Parameters
    ----------
    strip, panel
        The strip along the limb's axis and what is known of the sheet in it.
    painted
        (H, W) 1 where a person painted limb, -1 background, 0 elsewhere.
    """
    drawn = np.zeros(panel.inside.shape, np.int8) if painted is None else painted
    values = brightness_and_hue(np.asarray(cv2.GaussianBlur(strip.pixels, (0, 0), 0.7), np.uint8))
    guess = _guess(values, strip.offsets, panel)
    mask = None if guess is None else graph_cut(values, _labelled(guess, strip.offsets, panel, drawn))
    if mask is None and not (drawn > 0).any():
        return None
    limb = drawn > 0 if mask is None else _on_axis(mask, strip.offsets)
    colours = _bytes(values)
    told = _density(colours, limb) - _density(colours, panel.inside & ~limb)
    like_skin, dark = np.zeros((2, *limb.shape), bool)
    if guess is not None:
        like_skin = guess.share > _CLEARLY
        dark = guess.shade & (guess.share < _HALF)
        told = np.where(guess.shade, CLIP * (guess.share - _HALF) / (_CLEARLY - _HALF), told)
        told = np.where(guess.pale, CLIP, told)
    evidence = np.where(panel.inside, np.clip(told, -CLIP, CLIP), -CLIP).astype(np.float32)
    return Cut(limb, evidence, like_skin, dark)


def graph_cut(values: Values, labels: NDArray[np.uint8]) -> Mask | None:
    """Return what is limb (H, W) by brightness and hue; None where too little of either is known.

    Parameters
    ----------
    values
        (H, W, 3) log brightness and hues.
    labels
        (H, W) surely or probably limb or not, as OpenCV's ``GC_`` constants; changed.
    """
    if min(np.count_nonzero(labels == each) for each in (cv2.GC_FGD, cv2.GC_BGD)) < LEAST_CELLS:
        return None
    cv2.setRNGSeed(0)  # the cuts begin with random clusters: the same picture gives the same limb
    other, limb, everywhere = np.zeros((1, 65)), np.zeros((1, 65)), (0, 0, 0, 0)
    cv2.grabCut(_bytes(values), labels, everywhere, other, limb, _CUTS, cv2.GC_INIT_WITH_MASK)
    return np.asarray((labels == cv2.GC_FGD) | (labels == cv2.GC_PR_FGD))


def _bytes(values: Values) -> NDArray[np.uint8]:
    return np.asarray(np.clip(values * _SCALE + _OFFSET, 0, 255), np.uint8)


@dataclass(frozen=True)
class _Guess:
    """What hue tells of cells (H, W), before any cut.

    Attributes
    ----------
    share
        How far the hue is on the way from the sheet's, 0, to the skin's, 1.
    shade
        It is much darker than the sheet, but not black, and skin of another hue, all of which it has there.
    pale
        Bright and warmer than the sheet: skin in too much light.
    shines
        Brighter than the sheet: what shines on skin has the light's hue, and no shadow is so bright.
    """

    share: Values
    shade: Mask
    pale: Mask
    shines: Mask


def _guess(values: Values, offsets: Array, panel: Panel) -> _Guess | None:
    """Compare hues with that on the axis and that far from it; None where either is not seen."""
    hue, inside = values[..., 1:], panel.inside
    core, far = inside & (np.abs(offsets) < _CORE_MM), inside & (np.abs(offsets) >= _REACH_MM)
    if not core.any() or not far.any():
        return None
    sheet, light = np.median(hue[far], axis=0), _sheet_light(values[..., 0], panel)
    shines = (values[..., 0] > light + SHINES) & (hue[..., 0] > LEAST_RED)
    share, apart = _share_of_skin(values, core, sheet)
    # what shines on dark skin is darker than a white sheet, too, and has little hue
    pale = apart > _LEAST_APART and np.quantile(values[core, 0], _LIT) > _BRIGHT
    return _Guess(
        share,
        (values[..., 0] < light - SHINES) & (values[..., 0] > _HUE_LOST) & pale,
        (panel.distance2 > _STANDS_OUT) & warmer_than(values, sheet),
        # where much of a row lies in shadow, the sheet in full light is brighter than that, too
        shines & (panel.distance2 > LIKE_SHEET),
    )


def _share_of_skin(values: Values, core: Mask, sheet: NDArray[np.floating]) -> tuple[Values, float]:
    """Return how far each cell's hue (H, W) is on the way from the sheet's to the skin's, and that way.

    In too much light skin nears white, and then the shadow beside it, lit by it, is as near to what is left
    of its hue as to the sheet's.  In the shade skin keeps all of its hue.
    """
    away = np.median(values[core, 1:], axis=0) - sheet
    along = (values[..., 1:] - sheet) @ away / max(float(away @ away), 1e-6)
    way, full = float(np.linalg.norm(away)), max(1.0, float(np.quantile(along[core], _FULL_HUE)))
    if np.median(values[core, 0]) > _BRIGHT:
        full = max(full, _PALEST / max(way, 1e-3))
    unlit = (values[..., 0] < _BRIGHT) & (values[..., 0] > _HUE_LOST)
    share = np.asarray(along / np.where(unlit, full, 1.0), np.float32)
    return share, full * way


def _labelled(guess: _Guess, offsets: Array, panel: Panel, drawn: NDArray[np.int8]) -> NDArray[np.uint8]:
    """Label cells as surely or probably limb or not, for the graph cuts."""
    near = panel.inside & (np.abs(offsets) < _REACH_MM)
    like = (guess.share > _HALF) | guess.pale | guess.shines
    clearly = (guess.share > _CLEARLY) & (panel.distance2 > _STANDS_OUT) | guess.pale
    surely = cv2.morphologyEx((near & clearly).astype(np.uint8), cv2.MORPH_OPEN, _SPECK) > 0
    labels = np.full(near.shape, cv2.GC_BGD, np.uint8)
    labels[near] = np.where(like[near], cv2.GC_PR_FGD, cv2.GC_PR_BGD)
    labels[surely | (near & like & (np.abs(offsets) < _CORE_MM))] = cv2.GC_FGD
    labels[drawn > 0], labels[drawn < 0] = cv2.GC_FGD, cv2.GC_BGD
    return labels


def warmer_than(values: Values, sheet: NDArray[np.floating]) -> Mask:
    """Return where it is bright (H, W) and redder and less blue than a sheet's hues (2,), as pale skin is."""
    off = values[..., 1:] - sheet
    return np.asarray((off[..., 0] - off[..., 1] > np.sqrt(2.0) * _WARMER) & (values[..., 0] > _BRIGHT))


def _sheet_light(light: Values, panel: Panel) -> Values:
    """Return the sheet's log brightness on each row (H, 1), that of all rows where it is not seen."""
    seen = np.where(panel.inside & (panel.distance2 < LIKE_SHEET), light, np.nan)
    whole = np.nanmedian(seen) if np.isfinite(seen).any() else np.inf
    rows = np.full((len(light), 1), whole, np.float32)
    known = np.count_nonzero(np.isfinite(seen), axis=1) >= _LEAST_ROW
    rows[known, 0] = np.nanmedian(seen[known], axis=1)
    return rows


def _on_axis(mask: Mask, offsets: Array) -> Mask:
    """Return the connected part of a mask that covers most of the axis."""
    # between what shines and skin in the shade lies a cell that is neither
    mask = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8)) > 0
    _, parts = cv2.connectedComponents(mask.astype(np.uint8), connectivity=4)
    counts = np.bincount(parts[:, np.abs(offsets) < _CORE_MM].ravel(), minlength=2)
    counts[0] = 0
    return np.asarray(mask & (parts == int(np.argmax(counts))))


def _density(colours: NDArray[np.uint8], where: Mask) -> Values:
    """Log density of each cell's colour among those of the cells ``where``, per bin."""
    index = colours.astype(np.intp) * _BINS // 256
    counts = np.zeros((_BINS,) * 3, np.float32)
    np.add.at(counts, tuple(index[where].T), 1.0)
    share = gaussian_filter(counts, _SMOOTH_BINS, mode="nearest") / max(int(np.count_nonzero(where)), 1)
    share = (1.0 - _ANYTHING) * share + _ANYTHING / counts.size
    return np.asarray(np.log(share)[index[..., 0], index[..., 1], index[..., 2]], np.float32)
