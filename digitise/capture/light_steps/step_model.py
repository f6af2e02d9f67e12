"""A blurred step between two slopes: where along a line of pixels one surface ends and another begins.

Model of a profile in linear light, s in pixels along the edge's normal, s0 the edge:

    y(s) = a (1 - B) + b ((s - s0) (1 - B) - w^2 g) + c B + d ((s - s0) B + w^2 g)

with g the picture's point spread at s - s0, taken as Gaussian of standard deviation w, and B its integral:
two slopes that meet at s0, blurred.  Light adds up in linear light only:
through a photograph's tone curve the same blur moves the place of equal grey towards the dark side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from digitise.capture.photo.colour import over_channels
from digitise.geometry.rigid import Array

_PARAMETERS = 4
_LEAST_PROFILES = 20


@dataclass(frozen=True)
class StepFit:
    """Fitted steps of n profiles.

    Attributes
    ----------
    position
        (n,) edge, in samples from the middle of each profile.
    sd
        (n,) its standard deviation from the noise, samples.
    contrast
        (n, channels) value after the edge less value before it, at the edge.
    noise
        (channels,) standard deviation of one sample about the model.
    gain
        (n,) chi-square by which the step fits better than a straight slope.
    """

    position: Array
    sd: Array
    contrast: Array
    noise: Array
    gain: Array


def step_basis(half: int, shifts: Array | float, blur: float) -> Array:
    """Return (..., 2 half + 1, 4) model columns a, b, c, d for edges ``shifts`` samples off the middle."""
    s = np.arange(-half, half + 1) - np.asarray(shifts)[..., None]
    after = ndtr(s / blur)
    before = 1.0 - after
    # a blurred slope that ends is not the slope times the blurred step
    spill = blur * np.exp(-0.5 * (s / blur) ** 2) / np.sqrt(2.0 * np.pi)
    return np.stack([before, s * before - spill, after, s * after + spill], axis=-1)


def _step_space(half: int, shifts: Array | float, blur: float) -> Array:
    """Return orthonormal bases of the model's columns: (..., 2 half + 1, 4)."""
    return np.linalg.qr(step_basis(half, shifts, blur))[0]


def _shifts(reach: float) -> Array:
    return np.arange(-reach, reach + 0.05, 0.1)


@lru_cache(maxsize=64)
def _step_spaces(half: int, reach: float, blur: float) -> Array:
    """Return the bases for every shift within reach: (2 half + 1, shifts, 4)."""
    return np.ascontiguousarray(np.moveaxis(_step_space(half, _shifts(reach), blur), 0, 1))


@lru_cache(maxsize=16)
def _slope_space(half: int) -> Array:
    s = np.arange(-half, half + 1.0)
    return np.linalg.qr(np.stack([np.ones_like(s), s], axis=1))[0]


def explained_by_step(profiles: NDArray[np.float32], half: int, blur: float, noise: Array) -> Array:
    """Share of variation that a step explains, at every place of every profile.

    Parameters
    ----------
    profiles
        (n, m, channels) linear light.
    half
        Half length of the window about each place, samples.
    blur
        Standard deviation of the point spread, samples.
    noise
        (channels,) noise of one sample: channels weigh by it, and variation within it counts for nothing.

    Returns
    -------
    (n, m) in [0, 1]; zero nearer than ``half`` to the ends.
    """
    scaled = np.asarray(profiles / noise.astype(np.float32), np.float32)
    energy = cv2.boxFilter(over_channels(np.square(scaled)), -1, (2 * half + 1, 1), normalize=False)
    by_step = _power(scaled, _step_space(half, 0.0, blur))
    by_slope = _power(scaled, _slope_space(half))
    expected = (2 * half + 1) * profiles.shape[2]
    gain = (by_step - by_slope) / (energy - by_slope + expected)
    found = np.zeros(profiles.shape[:2])
    found[:, half:-half] = np.clip(gain, 0.0, 1.0)[:, half:-half]
    return found


def _power(profiles: NDArray[np.float32], basis: Array) -> NDArray[np.float32]:
    """Squared length of every window's projection on an orthonormal basis, summed over channels: (n, m)."""
    total = np.zeros_like(profiles)
    for column in basis.T.astype(np.float32):
        total += cv2.filter2D(profiles, -1, column[None, :]).reshape(profiles.shape) ** 2
    return over_channels(total)


def fit_steps(
    profiles: NDArray[np.float32], half: int, blur: Array, reach: float, noise_factor: Array
) -> StepFit:
    """Locate the step in each profile to a fraction of a sample.

    Parameters
    ----------
    profiles
        (n, m, channels), the edge expected within ``reach`` samples of the middle.
    half
        Half length of the fitted window, samples.
    blur
        (channels,) standard deviation of each channel's point spread, samples.
    reach
        Greatest distance of the edge from the middle, samples.
    noise_factor
        (channels,) by how much neighbouring samples' common noise exceeds what their differences show.
    """
    shifts = _shifts(reach)
    middle = profiles.shape[1] // 2
    window = profiles[:, middle - half : middle + half + 1].astype(np.float64)
    energy = np.einsum("nwc,nwc->nc", window, window)
    misfit = np.empty((len(shifts), *energy.shape))
    for channel, width in enumerate(blur):
        bases = _step_spaces(half, float(reach), float(width))
        parts = np.tensordot(window[:, :, channel], bases, axes=1)
        misfit[:, :, channel] = energy[:, channel] - np.einsum("nsk,nsk->sn", parts, parts)
    freedom = 2 * half + 1 - _PARAMETERS - 1
    least = np.maximum(np.median(misfit.min(axis=0), axis=0), 0.0)  # rounding may leave less than nothing
    noise = np.sqrt(least / freedom) * noise_factor + 1e-5
    chi2 = np.sum(misfit / noise**2, axis=2)
    position, sd = _parabola_minimum(shifts, chi2)
    by_slope = np.sum(np.einsum("nwc,wk->nkc", window, _slope_space(half)) ** 2, axis=1)
    straight = np.sum((energy - by_slope) / noise**2, axis=1)
    gain = straight - chi2.min(axis=0)
    return StepFit(position, sd, _contrast(window, position, half, blur), noise, gain)


def estimate_blur(
    profiles: NDArray[np.float32], half: int, candidates: Sequence[float], least_contrast: float
) -> float | None:
    """Choose the point spread (standard deviation, samples) that fits the clearest steps best.

    Parameters
    ----------
    profiles
        (n, m) brightness in linear light, a step near the middle of each.
    half
        Half length of the fitted window, samples.
    candidates
        Point spreads to choose from.
    least_contrast
        A step below this says nothing of the point spread.

    Returns
    -------
    None when fewer than 20 profiles show a clear step.
    """
    middle = profiles.shape[1] // 2
    window = profiles[:, middle - half : middle + half + 1].astype(np.float64)
    contrast = np.abs(window[:, -half // 2 :].mean(axis=1) - window[:, : half // 2].mean(axis=1))
    clear = contrast >= max(float(np.median(contrast)), least_contrast)
    if np.count_nonzero(clear) < _LEAST_PROFILES:
        return None
    window = window[clear] / contrast[clear, None]
    shifts = np.arange(-2.5, 2.6, 0.25)
    energy = np.sum(window**2, axis=1)
    misfits = []
    for blur in candidates:
        left = energy - np.sum((window @ _step_space(half, shifts, blur)) ** 2, axis=2)
        misfits.append(float(np.median(np.min(left, axis=0))))
    return candidates[int(np.argmin(misfits))]


def _parabola_minimum(shifts: Array, chi2: Array) -> tuple[Array, Array]:
    """Vertex and 1-sd half width (chi-square up by one) of a parabola about each column's minimum."""
    best = np.clip(np.argmin(chi2, axis=0), 2, len(shifts) - 3)
    step = 2 * (shifts[1] - shifts[0])
    columns = np.arange(chi2.shape[1])
    low, mid, high = (chi2[best + d, columns] for d in (-2, 0, 2))
    curvature = np.maximum((low - 2 * mid + high) / step**2, 1e-9)
    vertex = shifts[best] - np.clip((high - low) / (2 * step) / curvature, -step, step)
    return np.clip(vertex, shifts[0], shifts[-1]), np.sqrt(2.0 / curvature)


def _contrast(window: Array, position: Array, half: int, blur: Array) -> Array:
    """Values just after less just before the edge, from the outer parts of the window on each side."""
    s = np.arange(-half, half + 1)[None, :] - position[:, None]
    clear = 1.5 * float(np.max(blur))
    sides = []
    for part in ((s > clear), (s < -clear)):
        weight = part / (1.0 + np.abs(s))
        sides.append(np.einsum("nw,nwc->nc", weight, window) / np.maximum(weight.sum(axis=1), 1e-9)[:, None])
    return np.asarray(sides[0] - sides[1])
