"""How a person stands differently from visit to visit, and how that moves a limb.

A limb stands on the mat, so heights are common.  The person may be turned about the vertical, a little to the
side, and the limb may lean a little more: a turn, a shift in x and y, and a shift that grows with height.  On
a support function the motion is exact but for the cosine of the lean:

    h'(theta, z) = h(theta - turn, z) + s_x(z) cos(theta) + s_y(z) sin(theta)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from digitise.errors import ModelError
from digitise.geometry.rigid import Array, Pose
from digitise.shape.basis import Basis
from digitise.shape.limb import Limb, SharedErrors

# Two limbs are compared where both are known, and less than this says little.
LEAST_OVERLAP_MM = 50.0


@dataclass(frozen=True)
class Alignment:
    """The motion that brings the second limb onto the first.

    Attributes
    ----------
    turn
        Counter-clockwise seen from above, about the vertical through ``pivot_mm``, radians.
    shift_mm
        (2,) along x and y at the pivot's height.
    lean
        (2,) growth of the shift with height, mm per mm.
    pivot_mm
        (3,) in the second limb's axis frame.
    covariance
        (5, 5) of turn, shift x, y, lean x, y.
    level_mm, level_sd_mm
        (N,) heights whose centres decided, and by how much a real change may have moved each centre: the
        least-changed part has the most say.
    turns, weight
        (M,) turns that come into question, equally spaced, radians, and the share of each.
    """

    turn: float
    shift_mm: Array
    lean: Array
    pivot_mm: Array
    covariance: Array
    level_mm: Array
    level_sd_mm: Array
    turns: Array
    weight: Array

    @property
    def state(self) -> Array:
        """(5,) turn, shift x, y, lean x, y."""
        return np.array([self.turn, *self.shift_mm, *self.lean])

    def ways(self, z: Array) -> Array:
        """Return what shift x, y and lean x, y add to a centre's x and y at heights (N,): (2, N, 4)."""
        found = np.zeros((2, len(z), 4))
        for axis in (0, 1):
            found[axis, :, axis] = 1.0
            found[axis, :, 2 + axis] = z - self.pivot_mm[2]
        return found

    @property
    def turn_degrees(self) -> tuple[float, float]:
        """The turn and its sd in degrees."""
        return float(np.degrees(self.turn)), float(np.degrees(np.sqrt(self.covariance[0, 0])))


@dataclass(frozen=True)
class InverseAlignment:
    """The motion from the first model's world to the second's: what brought the second limb here, undone.

    With R the turn, c the pivot and s(z) the shift at a height, the limb came by
    ``x' = R (x - c) + c + s(z)``, heights kept, between the two axis frames.

    Attributes
    ----------
    first_axis, second_axis
        axis_from_world of both models.
    alignment
        Of the comparison.
    """

    first_axis: Pose
    second_axis: Pose
    alignment: Alignment

    def apply(self, points: Array) -> Array:
        """Move points (..., 3) of the first model's world to the second's."""
        own = self.first_axis.apply(points)
        turn, shift = self._motion(own[..., 2])
        pivot = self.alignment.pivot_mm[:2]
        flat = (own[..., :2] - pivot - shift) @ turn + pivot
        return self.second_axis.inverse().apply(np.concatenate([flat, own[..., 2:]], axis=-1))

    def undo(self, points: Array) -> Array:
        """Move points (..., 3) of the second model's world to the first's."""
        own = self.second_axis.apply(points)
        turn, shift = self._motion(own[..., 2])
        pivot = self.alignment.pivot_mm[:2]
        flat = (own[..., :2] - pivot) @ turn.T + pivot + shift
        return self.first_axis.inverse().apply(np.concatenate([flat, own[..., 2:]], axis=-1))

    def _motion(self, z: Array) -> tuple[Array, Array]:
        """Return R (2, 2), and the shift (..., 2) at heights (...)."""
        found = self.alignment
        shift = found.shift_mm + np.asarray(z - found.pivot_mm[2])[..., None] * found.lean
        return rotation(found.turn), shift


def limb_name(limb: Limb) -> str:
    """Return for instance ``left leg``."""
    return f"{limb.side} {limb.kind}"


def common_range(a: Limb, b: Limb) -> tuple[float, float]:
    """Return the heights between which both limbs are known, mm.

    Raises
    ------
    ModelError
        When the limbs are not of one kind and side or share less than 50 mm.
    """
    if (a.kind, a.side) != (b.kind, b.side):
        raise ModelError(
            f"One model is of a {limb_name(a)}, the other of a {limb_name(b)}.",
            do="Compare two models of one limb, or ask for the mirrored comparison of both sides.",
        )
    low, high = max(a.from_mm, b.from_mm), min(a.to_mm, b.to_mm)
    if high - low < LEAST_OVERLAP_MM:
        raise ModelError(
            f"The models cover {a.from_mm:.0f} to {a.to_mm:.0f} mm and {b.from_mm:.0f} to {b.to_mm:.0f} mm, "
            f"which share less than {LEAST_OVERLAP_MM:.0f} mm.",
            do="Make both models between the same heights.",
        )
    return low, high


def rotation(angle: float) -> Array:
    """Return the (2, 2) matrix that turns a cosine and a sine coefficient by ``angle``, radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])


def turned(basis: Basis, turn: float, values: Array) -> Array:
    """Return parameters (size, ...) of a limb turned counter-clockwise; order k turns by k times as much."""
    terms = values.reshape(basis.n_terms, -1)
    found = terms.copy()
    for k in range(1, basis.harmonics + 1):
        pair = slice(2 * k - 1, 2 * k + 1)
        found[pair] = rotation(k * turn) @ terms[pair]
    return found.reshape(values.shape)


def turned_square(basis: Basis, turn: float, matrix: Array) -> Array:
    """Return a covariance or precision (size, size) of parameters, turned likewise."""
    return turned(basis, turn, turned(basis, turn, matrix).T).T


def offsets(alignment: Alignment, basis: Basis) -> Array:
    """Return what shift x, y and lean x, y add to the parameters: (size, 4)."""
    columns = np.zeros((basis.n_terms, basis.n_splines, 4))
    # splines reproduce a straight line from its values at their places
    columns[1:3] = alignment.ways(basis.places)
    return columns.reshape(basis.size, 4)


def moved(alignment: Alignment, limb: Limb, onto: Limb) -> Limb:
    """Return ``limb`` moved into the frame of ``onto``, its covariance and prior with it.

    The motion is taken as exact; a joint solution knows b in the frame of a with the motion's uncertainty.
    """
    basis = limb.basis
    ways = offsets(alignment, basis)
    centre = ways[:, :2] @ alignment.pivot_mm[:2]
    stand = centre - turned(basis, alignment.turn, centre) + ways @ alignment.state[1:]
    return replace(
        limb,
        axis_from_world=onto.axis_from_world,
        mean=turned(basis, alignment.turn, limb.mean) + stand,
        covariance=turned_square(basis, alignment.turn, limb.covariance),
        prior_mean=turned(basis, alignment.turn, limb.prior_mean) + stand,
        prior_precision=turned_square(basis, alignment.turn, limb.prior_precision),
        shared=_turned_errors(basis, alignment.turn, limb.shared),
        considered=None if limb.considered is None else turned(basis, alignment.turn, limb.considered),
        print_scale=None if limb.print_scale is None else turned(basis, alignment.turn, limb.print_scale),
    )


def _turned_errors(basis: Basis, turn: float, shared: SharedErrors | None) -> SharedErrors | None:
    if shared is None:
        return None
    return replace(shared, with_shape=turned(basis, turn, shared.with_shape))
