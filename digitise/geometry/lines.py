"""Straight lines through points of which some are far off."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array


def median_line(x: NDArray[np.number], y: Array) -> tuple[float, float]:
    """Return slope and value at zero of a line through points (n,), of which three in ten may be anywhere.

    The median of the slopes between any two points (Theil 1950, Sen 1968; from memory).  The library of
    statistics has it, and is loaded for a second.

    Examples
    --------
    >>> median_line(np.arange(5), np.array([1.0, 3.0, 5.0, 70.0, 9.0]))
    (2.0, 1.0)

    Points above each other have no slope:

    >>> median_line(np.ones(2), np.array([0.0, 1.0]))
    Traceback (most recent call last):
    ...
    ValueError: vertical
    """
    run, rise = x[:, None] - x, y[:, None] - y
    later = run > 0
    if not later.any():
        raise ValueError("vertical")
    slope = float(np.median(rise[later] / run[later]))
    return slope, float(np.median(y) - slope * np.median(x))
