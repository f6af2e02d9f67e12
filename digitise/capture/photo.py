"""Photographs: load, orient, limit, strip of everything that could identify a person or place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True)
class Photograph:
    """A photograph the right way up, without location or serial numbers.

    Attributes
    ----------
    name
        File name, for messages.
    pixels
        (H, W, 3) uint8, RGB, sRGB tone curve, EXIF orientation already applied.
    sha256
        Hex digest of the file's bytes.
    focal_35mm
        Focal length in 35-mm equivalent (mm, by the diagonal), None when the file does not say.
    lens_key
        Equal for photographs of one phone at one focal setting and picture size; None when unknown.
    """

    name: str
    pixels: NDArray[np.uint8]
    sha256: str
    focal_35mm: float | None
    lens_key: str | None
