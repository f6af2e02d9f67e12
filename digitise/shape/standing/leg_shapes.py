"""How whole standing legs are shaped and differ: what one height and one order tell of all others.

The mean and the ways of differing are the principal components, legs of any length counted as far as they
reach (Roweis 1998, from memory), of 390 legs of a parametric body model with open data: both sexes, slim to
heavy, four of five swollen, none of them a test case (``tests/leg_shapes_fit.py``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np

from digitise.geometry.rigid import Array
from digitise.geometry.support import mirrored_signs
from digitise.geometry.values import read_only
from digitise.shape.basis import Basis


@dataclass(frozen=True, eq=False)
class LegShapes:
    """Mean of whole legs and the ways in which they differ.

    Attributes
    ----------
    height_mm
        (Z,) above the mat.
    mean_mm
        (T, Z) of every term, orders 4 and 6 beyond the ellipse of order 2; centres beside a straight line.
    modes_mm
        (M, T, Z) by how much a leg is off the mean for one sd of each of M independent ways of differing.
    """

    height_mm: Array
    mean_mm: Array
    modes_mm: Array

    def __post_init__(self) -> None:
        read_only(self)

    def mirrored(self) -> LegShapes:
        """Return the shapes of legs of the other side."""
        sign = mirrored_signs(len(self.mean_mm) // 2)
        return LegShapes(self.height_mm, sign[:, None] * self.mean_mm, sign[:, None] * self.modes_mm)

    def on(self, basis: Basis) -> tuple[Array, Array]:
        """Return mean (size,) and modes (size, M) as spline coefficients."""
        at = basis.places
        take = np.linalg.solve(basis.splines(at), _linear(self.height_mm, at))
        modes = (self.modes_mm @ take.T).reshape(len(self.modes_mm), -1)
        return (self.mean_mm @ take.T).ravel(), modes.T


def _linear(nodes: Array, z: Array) -> Array:
    """Return the rows (N, Z) that interpolate linearly between nodes (Z,), carried on beyond both ends."""
    left = np.clip(np.searchsorted(nodes, z) - 1, 0, len(nodes) - 2)
    share = (z - nodes[left]) / (nodes[left + 1] - nodes[left])
    rows = np.zeros((len(z), len(nodes)))
    rows[np.arange(len(z)), left], rows[np.arange(len(z)), left + 1] = 1 - share, share
    return rows


@lru_cache
def standing_left_leg() -> LegShapes:
    """Return the shapes of standing left legs."""
    with (
        files("digitise.shape.standing").joinpath("leg_shapes.npz").open("rb") as stream,
        np.load(stream) as file,
    ):
        return LegShapes(*(file[name].astype(float) for name in ("height_mm", "mean_mm", "modes_mm")))
