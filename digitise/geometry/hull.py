"""Convex hulls in the plane."""

from __future__ import annotations

from scipy.spatial import ConvexHull

from digitise.geometry.rigid import Array


def hull_perimeter(points: Array) -> float:
    """Return the length of a taut line round points (N, 2): that of their convex hull.

    Examples
    --------
    >>> import numpy as np
    >>> hull_perimeter(np.array([[0.0, 0.0], [3.0, 0.0], [1.0, 1.0], [0.0, 4.0]]))
    12.0
    """
    # of a hull in the plane the library's area is its perimeter
    return float(ConvexHull(points).area)
