"""Values on a grid, read between its points."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array


def bilinear(x: Array, y: Array, values: Array, at_x: Array, at_y: Array) -> Array:
    """Return values between the points of a grid, straight along each of its two axes.

    A general library has the same and takes a sixth of a second to load; the tests hold this against it.

    Parameters
    ----------
    x, y
        (A,), (B,) rising.
    values
        (A, B, ...) at the points of the grid.
    at_x, at_y
        Where, of one shape (...), within the grid: beyond it its outermost cells go on.

    Returns
    -------
    Of the shape of the places, then of one value.

    Examples
    --------
    >>> field = np.array([[0.0, 1.0], [10.0, 11.0]])
    >>> x, y = np.array([0.0, 2.0]), np.array([0.0, 1.0])
    >>> bilinear(x, y, field, np.array([1.0]), np.array([0.25])).tolist()
    [5.25]
    """
    i, right = _cell(x, at_x)
    j, up = _cell(y, at_y)
    more = (1,) * (values.ndim - 2)
    right, up = right.reshape(*right.shape, *more), up.reshape(*up.shape, *more)
    low = values[i, j] * (1.0 - up) + values[i, j + 1] * up
    high = values[i + 1, j] * (1.0 - up) + values[i + 1, j + 1] * up
    return np.asarray(low * (1.0 - right) + high * right)


def _cell(grid: Array, at: Array) -> tuple[NDArray[np.intp], Array]:
    """Return the number of the cell in which each place lies, and how far into it, from 0 to 1."""
    number = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    return number, (at - grid[number]) / (grid[number + 1] - grid[number])
