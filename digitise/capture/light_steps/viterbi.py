"""Best smooth paths through a table of scores."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def best_path(scores: NDArray[np.float32], *, stiffness: float, reach: int) -> NDArray[np.intp]:
    """Find the path, one column per row, of greatest total score less its bending.

    Parameters
    ----------
    scores
        (H, W) gain of passing through each cell; ``-inf`` forbids a cell.
    stiffness
        Price of a step of d columns between neighbouring rows is ``stiffness * d**2``.
    reach
        Largest step between neighbouring rows, columns.

    Returns
    -------
    (H,) column in each row.

    Raises
    ------
    ValueError
        When forbidden cells leave no path.

    Notes
    -----
    Viterbi's algorithm: exact, rows in turn.
    """
    height, width = scores.shape
    steps = np.arange(-reach, reach + 1)
    price = (stiffness * steps**2).astype(np.float32)
    choices = np.empty((height, width), np.int8)
    padded = np.full(width + 2 * reach, -np.inf, np.float32)
    total = padded[reach : reach + width]
    reachable = np.lib.stride_tricks.sliding_window_view(padded, len(steps))
    columns = np.arange(width)
    total[:] = scores[0]
    for row in range(1, height):
        reached = reachable - price
        choice = np.argmax(reached, axis=1)
        choices[row] = choice
        total[:] = reached[columns, choice] + scores[row]
    path = np.empty(height, np.intp)
    path[-1] = int(np.argmax(total))
    if total[path[-1]] == -np.inf:
        raise ValueError("no path avoids all forbidden cells")
    for row in range(height - 1, 0, -1):
        path[row - 1] = path[row] + steps[choices[row, path[row]]]
    return path
