"""Colour as the outline needs it: brightness apart from hue, in linear light."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo import linear_light

_FLOOR = 0.004  # of full scale: keeps the logarithm of sensor noise in the darkest parts bounded


def brightness_and_hue(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Turn (..., 3) uint8 RGB into (..., 3) float32: log brightness, log red/green, log blue/green.

    The three channels' logarithms add under a change of light, so a shadow moves the first value
    and (nearly) leaves the other two alone.
    """
    logs = np.log(linear_light(pixels) + np.float32(_FLOOR))
    mean = logs.mean(axis=-1)
    return np.stack([mean, logs[..., 0] - logs[..., 1], logs[..., 2] - logs[..., 1]], axis=-1)
