"""A surface: the usual one with its differences, standing somewhere on the mat."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only
from digitise.shape.statistical.model import ShapeModel

PLACES = 3  # x and y of its middle, mm, and its turn about z, radians


@dataclass(frozen=True, eq=False)
class PlacedShape:
    """One foot or hand, in the world frame.

    Attributes
    ----------
    prior
        What it is built from.
    parameters
        (K + 3,) differences from the usual one in standard deviations, then where it stands: x, y in mm and
        the turn of its toes or fingers from +y to -x in radians.
    """

    prior: ShapeModel
    parameters: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    @classmethod
    def usual(cls, prior: ShapeModel, x: float = 0.0, y: float = 0.0) -> PlacedShape:
        """Return the usual one at a place, its toes or fingers along +y."""
        return cls(prior, np.concatenate([np.zeros(len(prior.modes)), [x, y, 0.0]]))

    @property
    def ahead(self) -> Array:
        """(3,) horizontal unit vector from heel to toes, or from wrist to fingers."""
        turn = self.parameters[-1]
        return np.array([-np.sin(turn), np.cos(turn), 0.0])

    @property
    def place(self) -> Array:
        """(3,) middle of it on the mat, mm."""
        return np.array([*self.parameters[-PLACES:-1], 0.0])

    @cached_property
    def vertices(self) -> Array:
        """(V, 3) mm."""
        own = self.prior.mean + np.tensordot(self.parameters[:-PLACES], self.prior.modes, axes=1)
        placed = np.asarray(own @ self._turned().T + self.place)
        placed.setflags(write=False)
        return placed

    def motions(self, vertices: NDArray[np.integer]) -> Array:
        """Return by how much each parameter moves some vertices (n,) of the surface, (K + 3, n, 3) mm."""
        modes = self.prior.modes[:, vertices] @ self._turned().T
        own = self.vertices[vertices] - self.place
        still = np.zeros(len(vertices))
        places = np.zeros((PLACES, len(vertices), 3))
        places[0, :, 0] = places[1, :, 1] = 1.0
        places[2] = np.column_stack([-own[:, 1], own[:, 0], still])
        return np.concatenate([modes, places])

    def moved(self, step: Array) -> PlacedShape:
        """Return the surface with its parameters changed by ``step`` (K + 3,)."""
        return PlacedShape(self.prior, self.parameters + step)

    def _turned(self) -> Array:
        cos, sin = np.cos(self.parameters[-1]), np.sin(self.parameters[-1])
        return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
