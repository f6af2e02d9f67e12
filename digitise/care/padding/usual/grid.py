"""Bumps and folds at places of a leg, as the parameters that a limb's own basis can hold of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.limb import Limb

DIRECTIONS = 24
_ROWS_MM = 12.0
_FINER = 4  # a fold is narrower than the rows are apart
# A place that swelling makes or a bandage's edge leaves: half of it within 40 mm of height and a fifth of the
# way round; a fold: 12 mm along, from one side to the other (ours).
_BUMP_MM, _BUMP_TURN, _FOLD_MM = 32.0, 0.57, 12.0
# Swelling all round: its height above a usual leg, and how far along it is alike (by trial on 24 drawn
# legs swollen at ankle, calf or thigh: of 54 places listed on them without it, 8 were left).
_SWOLLEN_MM, _SWOLLEN_TALL_MM = 5.0, 45.0


@dataclass(frozen=True)
class Mark:
    """A bump, or a fold, on a leg.

    Attributes
    ----------
    fold
        It reaches from one side to the other.
    height_mm
        Outward.
    z, theta
        Its centre, mm and radians.
    tall, wide
        Logarithms of its extent along and round the limb over the usual one; a fold has no ``wide``.
    """

    fold: bool
    height_mm: float
    z: float
    theta: float
    tall: float = 0.0
    wide: float = 0.0

    @property
    def sizes(self) -> Array:
        """What is known beforehand: (1,) or (2,) logarithms."""
        return np.array([self.tall] if self.fold else [self.tall, self.wide])


class Grid:
    """Places on a leg, and what of a surface given there the limb's own parameters can hold."""

    def __init__(self, limb: Limb) -> None:
        count = max(2, round((limb.to_mm - limb.from_mm) / _ROWS_MM))
        self.z = np.linspace(limb.from_mm, limb.to_mm, count + 1)
        self.theta = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
        self._fine = np.linspace(limb.from_mm, limb.to_mm, _FINER * count + 1)
        self._along = np.linalg.pinv(limb.basis.splines(self.z))
        self._along_fine = np.linalg.pinv(limb.basis.splines(self._fine))
        self._round = np.linalg.pinv(fourier(self.theta, limb.basis.harmonics))

    def parameters(self, heights: Array) -> Array:
        """Return the parameters (N, P) of surfaces (N, Z, T)."""
        found = np.einsum("kt,nzt,sz->nks", self._round, heights, self._along, optimize=True)
        return np.asarray(found.reshape(len(heights), -1))

    def swollen(self) -> Array:
        """Return the parameters (P, Z) of swelling all round, each of one sd."""
        along = _SWOLLEN_MM * root(bell(self.z[:, None] - self.z, _SWOLLEN_TALL_MM))
        return self.parameters(np.repeat(along.T[:, :, None], DIRECTIONS, axis=2)).T

    def every(self) -> tuple[list[Mark], Array]:
        """Return a bump and a fold of 1 mm at each place, and their parameters (P, 2 Z T)."""
        marks, columns = [], []
        turn = np.angle(np.exp(1j * (self.theta[:, None] - self.theta)))
        for fold in (False, True):
            rise = self._along_fine @ bell(self._fine[:, None] - self.z, _FOLD_MM if fold else _BUMP_MM)
            across = self._round @ (0.5 + 0.5 * np.cos(turn) if fold else bell(turn, _BUMP_TURN))
            columns.append(np.einsum("kt,sz->kszt", across, rise).reshape(-1, len(self.z) * DIRECTIONS))
            marks += [Mark(fold, 1.0, float(z), float(theta)) for z in self.z for theta in self.theta]
        return marks, np.hstack(columns)

    def slopes(self, mark: Mark) -> Array:
        """Return how the parameters change (P, 4 or 5) with a mark's height, z, theta, tall and wide."""
        tall = np.exp(mark.tall) * (_FOLD_MM if mark.fold else _BUMP_MM)
        away = (self._fine - mark.z) / tall
        rise = np.exp(-0.5 * away**2)
        along = self._along_fine @ np.stack([rise, rise * away / tall, rise * away**2], axis=1)
        turn = np.angle(np.exp(1j * (self.theta - mark.theta)))
        if mark.fold:
            across = [0.5 + 0.5 * np.cos(turn), 0.5 * np.sin(turn)]
        else:
            wide = np.exp(mark.wide) * _BUMP_TURN
            part = np.exp(-0.5 * (turn / wide) ** 2)
            across = [part, part * turn / wide**2, part * (turn / wide) ** 2]
        around = self._round @ np.stack(across, axis=1)
        pairs = [(0, 0), (0, 1), (1, 0), (0, 2), (2, 0)][: 4 if mark.fold else 5]
        columns = [np.outer(around[:, a], along[:, b]).ravel() for a, b in pairs]
        scale = np.array([1.0, *[mark.height_mm] * (len(pairs) - 1)])
        return np.asarray(np.stack(columns, axis=1) * scale)


def root(covariance: Array) -> Array:
    """Return a square root (N, N) of a covariance that may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)))


def bell(distance: Array, sd: float) -> Array:
    """Return a Gaussian of height 1."""
    return np.asarray(np.exp(-0.5 * (distance / sd) ** 2))
