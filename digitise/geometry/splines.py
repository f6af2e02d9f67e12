"""B-splines on given knots."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array


def every_spline(knots: Array, degree: int, z: Array, derivative: int = 0) -> Array:
    """Evaluate every B-spline of a degree, or a derivative of it, by the recursion of Cox and de Boor.

    De Boor, A Practical Guide to Splines (1978), chapters IX and X (from memory).

    Parameters
    ----------
    knots
        (n + degree + 1,) in ascending order, the first and the last ``degree + 1`` times.
    degree
        Of the splines.
    z
        (N,) places between the first knot and the last.
    derivative
        How often they are differentiated, ``degree`` times at most.

    Returns
    -------
    (N, n); at a knot the value from the right, at the last one that from the left.

    Examples
    --------
    >>> every_spline(np.array([0.0, 0.0, 1.0, 2.0, 2.0]), 1, np.array([0.25, 2.0]))
    array([[0.75, 0.25, 0.  ],
           [0.  , 0.  , 1.  ]])

    A line through all coefficients of one is one, and its slope nought:

    >>> every_spline(np.array([0.0, 0.0, 1.0, 2.0, 2.0]), 1, np.array([0.25, 2.0]), 1).sum(axis=1)
    array([0., 0.])
    """
    count = len(knots) - degree - 1
    span = np.clip(np.searchsorted(knots, z, side="right") - 1, degree, count - 1)
    local = _values(knots, degree - derivative, z, span)
    for lifted in range(degree - derivative + 1, degree + 1):
        local = _differentiated(knots, lifted, span, local)
    found = np.zeros((len(z), count))
    found[np.arange(len(z))[:, None], span[:, None] + np.arange(-degree, 1)] = local.T
    return found


def _values(knots: Array, degree: int, z: Array, span: NDArray[np.intp]) -> Array:
    """Return the splines (degree + 1, N) that are not nought at places z, each after a knot ``span``."""
    found = [np.ones(len(z))]
    for lifted in range(1, degree + 1):
        raised = [np.zeros(len(z))]
        for number, lower in enumerate(found):
            first, last = knots[span + number + 1 - lifted], knots[span + number + 1]
            share = lower / (last - first)
            raised[-1] = raised[-1] + (last - z) * share
            raised.append((z - first) * share)
        found = raised
    return np.array(found)


def _differentiated(knots: Array, degree: int, span: NDArray[np.intp], lower: Array) -> Array:
    """Return derivatives (degree + 1, N) of splines from those of the degree below, (degree, N)."""
    first = span + np.arange(1 - degree, 1)[:, None]
    scaled = degree * lower / (knots[first + degree] - knots[first])
    none = np.zeros((1, lower.shape[1]))
    return np.asarray(np.concatenate([none, scaled]) - np.concatenate([scaled, none]))
