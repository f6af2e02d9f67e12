"""Colour as the outline needs it: brightness apart from hue, in linear light."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from digitise.capture.photo.photograph import linear_light

F = TypeVar("F", np.float32, np.float64)

_FLOOR = 0.004  # of full scale: keeps the logarithm of sensor noise in the darkest parts bounded
_LIGHT = linear_light(np.arange(256, dtype=np.uint8))


def over_channels(values: NDArray[F]) -> NDArray[F]:
    """Return the sum (...) over the channels of (..., c); as a product, far sooner than a sum of so few."""
    return values @ np.ones(values.shape[-1], values.dtype)


def brightness_and_hue(pixels: NDArray[np.uint8], floor: float = _FLOOR) -> NDArray[np.float32]:
    """Turn (..., 3) uint8 RGB into (..., 3) float32: log brightness, log red/green, log blue/green.

    The three channels' logarithms add under a change of light, so a shadow moves the first value
    and (nearly) leaves the other two alone.

    Parameters
    ----------
    pixels
        Of a photograph.
    floor
        Of full light: what is darker has hardly a hue of its own.
    """
    logs = np.log(_LIGHT + np.float32(floor))
    red, green, blue = (logs[pixels[..., channel]] for channel in range(3))
    return np.stack([(red + green + blue) / 3, red - green, blue - green], axis=-1)
