"""Rigid motions, named ``target_from_source`` so that chains read from right to left."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.values import read_only

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Pose:
    """A rigid motion ``x_target = rotation @ x_source + translation``.

    Attributes
    ----------
    rotation
        (3, 3) proper rotation matrix.
    translation
        (3,) in mm.
    """

    rotation: Array
    translation: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    @classmethod
    def identity(cls) -> Pose:
        """Return the motion that leaves every point where it is."""
        return cls(np.eye(3), np.zeros(3))

    def apply(self, points: Array) -> Array:
        """Map points (..., 3) in mm from the source to the target frame."""
        return points @ self.rotation.T + self.translation

    def inverse(self) -> Pose:
        """Return ``source_from_target``."""
        return Pose(self.rotation.T, -self.rotation.T @ self.translation)

    def __matmul__(self, other: Pose) -> Pose:
        """Return the motion that applies ``other`` first, then ``self``."""
        return Pose(self.rotation @ other.rotation, self.rotation @ other.translation + self.translation)


def rotation_angle(rotation: Array) -> float:
    """Return the angle of a (3, 3) rotation in radians, in [0, pi]."""
    # atan2 of the skew and the trace parts keeps full precision at small angles, where acos loses half of it
    skew = np.array(
        [
            rotation[2, 1] - rotation[1, 2],
            rotation[0, 2] - rotation[2, 0],
            rotation[1, 0] - rotation[0, 1],
        ]
    )
    return float(np.arctan2(np.linalg.norm(skew), np.trace(rotation) - 1.0))


def cross_matrices(vectors: Array) -> Array:
    """Return (n, 3, 3) matrices C with ``C b = a x b`` of vectors (n, 3)."""
    x, y, z = np.moveaxis(vectors, -1, 0)
    zero = np.zeros_like(x)
    return np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=-1).reshape(*x.shape, 3, 3)


def left_jacobians(vectors: Array) -> Array:
    """Return (n, 3, 3) J with ``exp(w + d) = exp(J d) exp(w)`` to first order.

    Source: Sola, Deray, Atchuthan, "A micro Lie theory for state estimation in robotics", 2018, appendix B
    (from memory; a test compares with finite differences).
    """
    angle = np.linalg.norm(vectors, axis=-1)[:, None, None]
    cross = cross_matrices(vectors)
    safe = np.where(angle < 1e-4, 1.0, angle)
    second = np.where(angle < 1e-4, 1 / 6, (safe - np.sin(safe)) / safe**3)
    first = 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    return np.asarray(np.eye(3) + first * cross + second * cross @ cross)
