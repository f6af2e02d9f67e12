"""Linear light read along lines across a photograph: brightness and two colour differences."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from digitise.capture.photo.photograph import linear_light
from digitise.capture.photo.resample import read_between
from digitise.geometry.rigid import Array

USUAL_BLUR_PX = 0.85  # a phone's point spread, standard deviation
# brightness (Rec. 709 luminance) and two colour differences: photographs keep colour at half resolution
_LUMA = np.array([0.2126, 0.7152, 0.0722])
_CHANNELS = np.stack([_LUMA, [1, 0, 0] - _LUMA, [0, 0, 1] - _LUMA], axis=1).astype(np.float32)
_TOGETHER_ROWS = 6.0  # 12 mm: a mean over some 40 mm along an edge
_LEAST_NOISE = np.array([0.002, 0.008, 0.008])  # compressed colour is flat, with steps between blocks


def sample_light(pixels: NDArray[np.uint8], at: Array) -> NDArray[np.float32]:
    """Read linear light at positions (n, m, 2) px, as (n, m, 3) brightness and colour differences."""
    size = np.array(pixels.shape[1::-1])
    known = [np.nan_to_num(each, nan=0.0) for each in (at[..., 0], at[..., 1])]
    low = np.clip(np.floor([each.min() for each in known]).astype(int) - 2, 0, size - 1)
    high = np.clip(np.ceil([each.max() for each in known]).astype(int) + 3, low + 1, size)
    crop = linear_light(pixels[low[1] : high[1], low[0] : high[0]])
    return np.asarray(read_between(crop, at - low) @ _CHANNELS, np.float32)


def light_beside(pixels: NDArray[np.uint8], points: Array, normals: Array, beyond_px: Array) -> Array:
    """Return the mean light so far beyond an edge, smoothed along it: (n, 3), brightness and two colours.

    Parameters
    ----------
    pixels
        (H, W, 3) photograph.
    points, normals
        (n, 2) points of the edge, 2 mm apart along the limb, and their normals out of it, pixels.
    beyond_px
        (m,) how far out the light is read, pixels; within the edge where negative.
    """
    at = points[:, None] + beyond_px[None, :, None] * normals[:, None]
    mean = sample_light(pixels, at).mean(axis=1)
    return np.asarray(gaussian_filter1d(mean, _TOGETHER_ROWS, axis=0, mode="nearest"), np.float64)


def sample_noise(light: NDArray[np.float32]) -> Array:
    """Noise of each channel from second differences over two pixels, which share little."""
    second = light[:, 4:] - 2.0 * light[:, 2:-2] + light[:, :-4]
    size = 1.4826 * np.median(np.abs(second), axis=(0, 1)) / np.sqrt(6.0)
    return np.asarray(size + _LEAST_NOISE[: len(size)])
