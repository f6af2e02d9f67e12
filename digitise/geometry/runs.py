"""Runs of equal flags along a line."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def true_runs(flags: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return the first place of each run of True, and the place after its last: (n, 2), in order.

    Examples
    --------
    >>> true_runs(np.array([True, True, False, True])).tolist()
    [[0, 2], [3, 4]]

    Without a True there is no run:

    >>> true_runs(np.zeros(3, bool)).shape
    (0, 2)
    """
    within = np.zeros(len(flags) + 2, bool)
    within[1:-1] = flags
    return np.flatnonzero(within[1:] != within[:-1]).reshape(-1, 2)
