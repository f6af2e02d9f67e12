"""The colour of a plain sheet under slowly changing light, with limbs and other things before it.

Skin may fill more of the picture of a panel than the panel itself, and stand in its rim as well.  What makes
the sheet known is that one smooth course of colour explains much of it, and little of the limb's own place.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array

Values = NDArray[np.float32]
Mask = NDArray[np.bool_]

# Brightness and the two hues, log units: no paper is flatter.
LEAST_SD = np.array([0.03, 0.015, 0.015], np.float32)
_FIRST_SD = np.array([0.06, 0.015, 0.015])  # the quadratic does not follow a soft shadow: let it in
_BLOCK = 4  # cells: averages out the grain, smaller than any limb
_WHOLE_BLOCK = 0.9  # of a block's cells in the area
_MODE_BIN = np.array([0.25, 0.12, 0.12])  # log units: a sheet's light seldom varies by more within a mode
_MOST_MODES = 8
_FIRST_TOLERANCE = np.array([0.45, 0.12, 0.12])
_TOLERANCES = ((0.3, 0.08, 0.08), (0.25, 0.06, 0.06), (0.22, 0.06, 0.06))  # with a soft shadow's rim
_SHADOW = 0.5  # log units
_ONE_HUE = 0.04
# A hard shadow on the sheet may fill more of it than what is lit: darker by more than that, but of nearly one
# hue (by 0.1 on a made blue sheet). The limb, which stands in its own place, is not taken for the lit part.
_SHADOW_HUE, _LEAST_GAIN, _MOST_CORE = 0.15, 0.5, 0.05
_RIM_WEIGHT = 2.0  # where no limb stands, a colour is more likely the sheet's
_CORE_WEIGHT = -3.0  # what explains the limb's own place is not the sheet
_LEAST_BLOCKS = 12
# Of the normal equations' greatest eigenvalue: a patch of so few blocks leaves 4e-10, one or two rows 1e-16.
_OPEN = 1e-12
_SMOOTH_CELLS = 14.0  # 28 mm: follows a soft shadow that begins at the limb
_COARSE = 5  # cells: slow changes need no finer grid


@dataclass(frozen=True)
class _Blocks:
    """Averages of small squares: values (n, 3), terms (n, 6), weights (n,)."""

    values: Array
    terms: Array
    weights: Array


def fit_sheet(values: Values, whole: Mask, rim: Mask, core: Mask) -> tuple[Values, NDArray[np.float32]]:
    """Fit the sheet's colour as a quadratic of place, and tell the spread about it.

    Parameters
    ----------
    values
        (H, W, 3) brightness and hues.
    whole, rim, core
        (H, W) the sheet's area; its rim; and the limb's own place, where the sheet is least likely seen.

    Returns
    -------
    (H, W, 3) colour of the sheet everywhere, and (3,) standard deviation, for a first comparison.
    """
    blocks = _blocks(values, whole, rim, core)
    fits = [_grown(blocks, colour) for colour in _modes(blocks)]
    colour = _course(_with_shade(blocks, _lit(blocks, fits)), whole.shape)
    off = np.abs(values - colour).reshape(-1, 3)[np.flatnonzero(whole)[::5]]
    near = np.all(off < 2.0 * np.array(_TOLERANCES[-1]), axis=1)
    spread = np.quantile(off[near], 0.8, axis=0) / 1.28 if near.sum() > _LEAST_BLOCKS else LEAST_SD
    return colour, np.asarray(np.maximum(spread, _FIRST_SD), np.float32)


def _terms(x: Array, y: Array) -> Array:
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _course(coefficients: Array, shape: tuple[int, ...]) -> Values:
    """Return the colours (H, W, 3) of a quadratic: in each row powers of y times quadratics in x."""
    y, x = (np.linspace(-1.0, 1.0, n)[:, None] for n in shape)
    constant, by_x, by_y, by_xx, by_xy, by_yy = coefficients
    in_x = np.stack([constant + x * (by_x + x * by_xx), by_y + x * by_xy, by_yy + 0.0 * x])
    powers = np.hstack([np.ones_like(y), y, y * y])
    return np.asarray(powers @ in_x.reshape(3, -1), np.float32).reshape(*shape, 3)


def _blocks(values: Values, whole: Mask, rim: Mask, core: Mask) -> _Blocks:
    height, width = whole.shape
    size = (max(1, width // _BLOCK), max(1, height // _BLOCK))
    cells = (values * whole[..., None], np.dstack([whole, rim, core]).astype(np.float32))
    means = np.dstack([cv2.resize(part, size, interpolation=cv2.INTER_AREA) for part in cells])
    rows, columns = (np.linspace(-1.0, 1.0, n) for n in (size[1], size[0]))
    y, x = np.meshgrid(rows, columns, indexing="ij")
    keep = means[..., 3] > _WHOLE_BLOCK
    if np.count_nonzero(keep) < _LEAST_BLOCKS:
        keep = means[..., 3] > 0.0
    kept = means[keep]
    weights = np.where(kept[:, 5] > 0.5, _CORE_WEIGHT, 1.0 + (_RIM_WEIGHT - 1.0) * kept[:, 4])
    return _Blocks(np.asarray(kept[:, :3] / kept[:, 3:4], float), _terms(x, y)[keep], weights)


def _modes(blocks: _Blocks) -> Array:
    """Return the commonest colours, (m, 3)."""
    bins = np.floor(blocks.values / _MODE_BIN).astype(int)
    bins -= bins.min(axis=0)
    numbers = np.ravel_multi_index(bins.T, bins.max(axis=0) + 1)
    _, which, counts = np.unique(numbers, return_inverse=True, return_counts=True)
    commonest = np.argsort(counts)[::-1][:_MOST_MODES]
    return np.array([np.median(blocks.values[which == n], axis=0) for n in commonest])


class _Fit(NamedTuple):
    """A sheet grown from one colour: how much it explains, its blocks, how far it is off, coefficients."""

    gain: float
    inliers: Mask
    off: Array
    coefficients: Array


def _grown(blocks: _Blocks, colour: Array) -> _Fit:
    inliers = np.all(np.abs(blocks.values - colour) < _FIRST_TOLERANCE, axis=1)
    coefficients = np.zeros((6, 3))
    coefficients[0] = colour
    off = blocks.values - colour
    for tolerance in _TOLERANCES:
        if np.count_nonzero(inliers) < _LEAST_BLOCKS:
            break
        coefficients = _fitted(blocks, inliers)
        off = blocks.values - blocks.terms @ coefficients
        inliers = np.all(np.abs(off) < tolerance, axis=1)
    return _Fit(float(blocks.weights[inliers].sum()), inliers, off, coefficients)


def _lit(blocks: _Blocks, fits: list[_Fit]) -> _Fit:
    """Return the fit that explains most, or the lit part of the sheet on which that one is a shadow."""
    best = max(fits, key=lambda fit: fit.gain)
    if not best.inliers.any():
        return best
    shade = np.median(blocks.values[best.inliers], axis=0)

    def is_lit(fit: _Fit) -> bool:
        if fit.gain <= _LEAST_GAIN * best.gain:
            return False
        brighter, *hue = np.median(blocks.values[fit.inliers], axis=0) - shade
        in_core = (blocks.weights[fit.inliers] < 0.0).mean()
        return bool(brighter > _SHADOW and np.abs(hue).max() < _SHADOW_HUE and in_core < _MOST_CORE)

    return max(filter(is_lit, fits), key=lambda fit: fit.gain, default=best)


def _with_shade(blocks: _Blocks, fit: _Fit) -> Array:
    """Fit a sheet once more, with its soft shadows: darker, but of one hue."""
    off = fit.off
    shade = (off[:, 0] < 0.0) & (off[:, 0] > -_SHADOW) & (np.abs(off[:, 1:]) < _ONE_HUE).all(axis=1)
    shaded = fit.inliers | shade
    return _fitted(blocks, shaded) if np.count_nonzero(shaded) >= _LEAST_BLOCKS else fit.coefficients


def _fitted(blocks: _Blocks, where: Mask) -> Array:
    """Return the coefficients (6, 3) of a quadratic through blocks, by its normal equations.

    Blocks in one or two rows leave some of them open: those are the least possible.
    """
    terms, values = blocks.terms[where], blocks.values[where]
    return np.asarray(np.linalg.lstsq(terms.T @ terms, terms.T @ values, rcond=_OPEN)[0], float)


def smooth_fit(values: Values, plain: Mask, fallback: Values) -> Values:
    """Follow slow changes of light: local mean over the plain cells, a polynomial far from any.

    Parameters
    ----------
    values, fallback
        (H, W, 3) colours, and those of the polynomial.
    plain
        (H, W) cells that show the sheet.
    """
    size = plain.shape[::-1]
    coarse = (max(1, size[0] // _COARSE), max(1, size[1] // _COARSE))
    light = np.dstack([(values - fallback) * plain[..., None], plain.astype(np.float32)])
    light = cv2.resize(light, coarse, interpolation=cv2.INTER_AREA)
    light = cv2.GaussianBlur(light, (0, 0), _SMOOTH_CELLS / _COARSE)
    mean = light[..., :3] / np.maximum(light[..., 3:], 0.02)
    return np.asarray(fallback + cv2.resize(mean, size, interpolation=cv2.INTER_LINEAR), np.float32)
