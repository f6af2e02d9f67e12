"""What changed between two visits of one limb, or differs between one limb and the mirrored other.

Every change is second minus first, with its 95 % interval; a change whose interval holds zero is no clear
change.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import counts_alike
from digitise.care.change.align import align_and_solve, mirror
from digitise.care.change.joint_posterior import Joint, volumes
from digitise.care.change.likeness import OTHER_LIMB, SAME_LIMB
from digitise.care.change.motion import Alignment, limb_name
from digitise.care.excess import Volumes, percent_limb_change
from digitise.care.surface.segments import Segment, segments
from digitise.errors import ModelError
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights, fourier
from digitise.shape.limb import Estimate, Limb, area, coefficients, girth

LEVEL_MM = 10.0
CHART_STEP_MM = 5.0
CHART_DIRECTIONS = 72


class ChangeVerdict(Enum):
    """What a change and its 95 % interval say: an interval that holds zero says nothing clear."""

    SMALLER = "smaller"
    LARGER = "larger"
    UNCLEAR = "unclear"

    @classmethod
    def of(cls, change: Estimate[float]) -> ChangeVerdict:
        """Judge the change of one figure."""
        low, high = change.interval_95
        if high < 0:
            return cls.SMALLER
        return cls.LARGER if low > 0 else cls.UNCLEAR


@dataclass(frozen=True)
class VolumeChange:
    """Change of volume of one segment.

    Attributes
    ----------
    segment
        Its name and bounds.
    volumes
        Of the first and the second limb there, mL, with their covariance.
    change_ml
        Second minus first.
    percent
        Of the first limb's volume there.
    verdict
        Of the volume.
    """

    segment: Segment
    volumes: Volumes
    change_ml: Estimate[float]
    percent: Estimate[float]
    verdict: ChangeVerdict


@dataclass(frozen=True)
class GirthChange:
    """Change of girth level by level: (N,) heights, changes in mm and verdicts."""

    height_mm: Array
    change_mm: Estimate
    verdict: tuple[ChangeVerdict, ...]


@dataclass(frozen=True)
class RadialChange:
    """Radial change, second minus first, on a grid of directions and heights in the first limb's frame.

    Attributes
    ----------
    theta
        (T,) directions, radians from x towards y.
    z
        (Z,) heights, mm.
    change_mm
        (Z, T) with the sd of measurement and alignment.
    """

    theta: Array
    z: Array
    change_mm: Estimate

    @property
    def clear(self) -> NDArray[np.bool_]:
        """(Z, T) True where the change is clear by itself."""
        low, high = self.change_mm.interval_95
        return (low > 0) | (high < 0)


@dataclass(frozen=True)
class Change:
    """All that changed between two limbs.

    Attributes
    ----------
    first, second
        The limbs as known together; the second lies in the first one's frame.
    mirrored
        True when the second is the other limb, mirrored.
    alignment
        How the second was moved onto the first.
    joint
        The belief that all figures come from.
    whole
        Change of volume over all common heights.
    parts
        The same by named segments.
    girths
        Every 10 mm.
    chart
        Radial change.
    """

    first: Limb
    second: Limb
    mirrored: bool
    alignment: Alignment
    joint: Joint
    whole: VolumeChange
    parts: tuple[VolumeChange, ...]
    girths: GirthChange
    chart: RadialChange


def compare(
    first: Limb,
    second: Limb,
    *,
    mirrored: bool = False,
    turn: float | None = None,
    same_sheets: bool = True,
) -> Change:
    """Compare two limbs.

    Parameters
    ----------
    first, second
        Two visits of one limb, or with ``mirrored`` the limbs of the two sides.
    mirrored
        Compare with the other limb: the second is mirrored first.
    turn
        By how much the second must be turned to face as the first, radians, where it is known.
    same_sheets
        Both were measured on the same printed sheets: what their scale is off by is then off alike in both.

    Raises
    ------
    ModelError
        When the limbs are of different kinds, of the wrong sides, or share less than 50 mm, when one stood
        and the other lay, or when their heights count from different places.
    """
    if bool(first.lying) != bool(second.lying):
        raise ModelError(
            "One of the two limbs lay when it was measured and the other did not, so their heights do not "
            "count from one place.",
            do="Compare measurements taken alike: both standing, or both lying.",
        )
    if not counts_alike(first.counted_from, second.counted_from):
        raise ModelError(
            f"Heights of one count from {first.counted_from}, of the other from {second.counted_from}: what "
            "lies side by side is not the same part of the limb.",
            do="Tap the same place at every visit; measure one of the two again from the other's.",
        )
    if mirrored and first.side == second.side:
        raise ModelError(
            f"Both models are of a {limb_name(first)}, so neither is the other side.",
            do="Compare them without mirroring.",
        )
    other = mirror(second) if mirrored else second
    likeness = OTHER_LIMB if mirrored else SAME_LIMB
    alignment, joint = align_and_solve(first, other, turn=turn, likeness=likeness, same_sheets=same_sheets)
    z = _levels(joint.low, joint.high)
    mean_girth = (girth(joint.a, z).mean + girth(joint.b, z).mean) / 2
    named = segments(first.kind, z, mean_girth)
    return Change(
        joint.a,
        joint.b,
        mirrored,
        alignment,
        joint,
        volume_change(joint, Segment("whole", joint.low, joint.high)),
        tuple(volume_change(joint, segment) for segment in named),
        girth_change(joint, z),
        radial_change(joint),
    )


def _levels(low: float, high: float) -> Array:
    """Return both ends and the multiples of 10 mm between."""
    inner = LEVEL_MM * np.arange(np.floor(low / LEVEL_MM) + 1, np.ceil(high / LEVEL_MM))
    return np.concatenate([[low], inner, [high]])


def volume_change(joint: Joint, segment: Segment) -> VolumeChange:
    """Return the change of volume over one segment; errors common to both limbs cancel."""
    both = Volumes(*volumes(joint, segment.low, segment.high))
    variance = both.covariance[0, 0] + both.covariance[1, 1] - 2 * both.covariance[0, 1]
    change = Estimate(float(both.mean[1] - both.mean[0]), float(np.sqrt(max(variance, 0.0))))
    return VolumeChange(segment, both, change, percent_limb_change(both), ChangeVerdict.of(change))


def _linear(joint: Joint, rows: Array) -> Estimate:
    # splines are local: a level touches few of the parameters
    used = np.flatnonzero(np.any(rows != 0.0, axis=0))
    part = rows[:, used]
    variance = np.sum(part @ joint.covariance[np.ix_(used, used)] * part, axis=1)
    return Estimate(part @ joint.mean[used], np.sqrt(np.maximum(variance, 0.0)))


def girth_change(joint: Joint, z: Array) -> GirthChange:
    """Return the change of girth, 2 pi a_0, at heights (N,)."""
    rows = []
    for limb in (joint.a, joint.b):
        row = np.zeros((len(z), limb.basis.size))
        row[:, : limb.basis.n_splines] = 2 * np.pi * limb.basis.splines(z)
        rows.append(row)
    change = _linear(joint, joint.rows(rows[0], rows[1]))
    each = zip(change.mean, change.sd, strict=True)
    return GirthChange(z, change, tuple(ChangeVerdict.of(Estimate(mean, sd)) for mean, sd in each))


def area_change(change: Change, z: Array) -> Estimate:
    """Return the change of area, second minus first, at heights (N,), mm^2.

    The area is ``sum w_k c_k^2`` over a section's coefficients, so its slope by a parameter is ``2 w_k c_k``
    times the spline there; the sd is that of first order, errors common to both limbs cancel.
    """
    joint = change.joint
    slopes = []
    for limb in (joint.a, joint.b):
        mean, _ = coefficients(limb, z)
        weighted = 2.0 * area_weights(limb.basis.harmonics) * mean
        slopes.append((weighted[:, :, None] * limb.basis.splines(z)[:, None, :]).reshape(len(z), -1))
    rows = joint.rows(slopes[0], slopes[1])
    variance = np.einsum("ni,ij,nj->n", rows, joint.covariance, rows, optimize=True)
    return Estimate(area(joint.b, z).mean - area(joint.a, z).mean, np.sqrt(np.maximum(variance, 0.0)))


def radial_change(
    joint: Joint, step: float = CHART_STEP_MM, directions: int = CHART_DIRECTIONS
) -> RadialChange:
    """Return the change of the support distance on a grid; steps in mm, equal steps in direction."""
    theta = 2 * np.pi * np.arange(directions) / directions
    z = np.linspace(joint.low, joint.high, int(np.ceil((joint.high - joint.low) / step)) + 1)
    around = fourier(theta, joint.a.basis.harmonics)
    along = [limb.basis.splines(z) for limb in (joint.a, joint.b)]
    found = [_around(joint, around, [splines[i] for splines in along]) for i in range(len(z))]
    return RadialChange(theta, z, Estimate(*(np.array(part) for part in zip(*found, strict=True))))


def _around(joint: Joint, around: Array, along: list[Array]) -> Estimate:
    """Return the change of the support distance at one height, from what its harmonics and splines add."""
    # splines are local: few of them reach a height
    kept = [np.flatnonzero(splines) for splines in along]
    places, rows = [], []
    for limb, splines, near, sign, first in zip(
        (joint.a, joint.b), along, kept, (-1.0, 1.0), (0, joint.a.basis.size), strict=True
    ):
        terms = limb.basis.n_terms
        places.append((first + np.arange(terms)[:, None] * limb.basis.n_splines + near).ravel())
        rows.append(np.kron(np.eye(terms), sign * splines[near]))
    used = np.concatenate(places)
    turn = np.hstack(rows)
    mean = turn @ joint.mean[used]
    covariance = turn @ joint.covariance[np.ix_(used, used)] @ turn.T
    variance = np.sum(around @ covariance * around, axis=1)
    return Estimate(around @ mean, np.sqrt(np.maximum(variance, 0.0)))
