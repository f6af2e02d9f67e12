"""Reading a picture between its pixels, safely."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array

# OpenCV reads memory that is not its own where a position is no number or beyond what 16 bits count
_FAR_PX = 30_000.0


def read_between(picture: NDArray[Any], at: Array) -> NDArray[Any]:
    """Interpolate a picture linearly; beyond its border its outermost pixels go on.

    Parameters
    ----------
    picture
        (H, W) or (H, W, channels), at most 32,000 pixels on a side.
    at
        (n, m, 2) positions x, y in pixels; those that are no numbers read the top left pixel.

    Returns
    -------
    (n, m) or (n, m, channels) of the picture's type.
    """
    where = np.clip(np.nan_to_num(at, nan=0.0), -_FAR_PX, _FAR_PX).astype(np.float32)
    return np.asarray(
        cv2.remap(
            np.ascontiguousarray(picture),
            np.ascontiguousarray(where[..., 0]),
            np.ascontiguousarray(where[..., 1]),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    )
