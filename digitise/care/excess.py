"""Excess volume, its reduction, and change against a baseline, each formula under its own name.

All take volumes in mL as :class:`Volumes`, in the order each function states, and carry their covariance to
first order.  Two "percent reductions" are in use: against the reference limb as it is now, and against the
reference limb as it was at baseline; they differ, so they are two functions.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.linalg import block_diag

from digitise.errors import ModelError
from digitise.geometry.rigid import Array
from digitise.shape.limb import Z95, AnyEstimate, Estimate

_TINY = 1e-12  # mL^2: volumes without any error have a ratio without any
BILATERAL = "Both limbs are swollen, so neither is a reference: percentages of excess are not shown."


class Volumes(NamedTuple):
    """Several volumes, (n,) mL, with their covariance, (n, n) mL^2."""

    mean: Array
    covariance: Array

    @classmethod
    def apart(cls, *estimates: AnyEstimate) -> Volumes:
        """Return volumes whose errors are independent."""
        means = np.array([float(estimate.mean) for estimate in estimates])
        return cls(means, np.diag([float(estimate.sd) ** 2 for estimate in estimates]))

    @classmethod
    def alike(cls, estimates: Sequence[AnyEstimate], common_sd: Sequence[float]) -> Volumes:
        """Return volumes whose errors are independent but for a part that is one error in all of them.

        Examples
        --------
        >>> pair = Volumes.alike((Estimate(2300.0, 25.0), Estimate(2000.0, 17.0)), (15.0, 8.0))
        >>> excess_volume(pair)  # 25 - 15 and 17 - 8 as squares are 20 and 15; of the rest 7 is left
        Estimate(mean=300.0, sd=25.96150997149434)
        """
        own, common = cls.apart(*estimates), np.asarray(common_sd, dtype=np.float64)
        return cls(own.mean, own.covariance + np.outer(common, common) - np.diag(common**2))

    def then(self, later: Volumes) -> Volumes:
        """Return these volumes followed by others whose errors are independent of them."""
        together = block_diag(self.covariance, later.covariance)
        return Volumes(np.concatenate([self.mean, later.mean]), together)


def _checked(volumes: Volumes, n: int) -> Array:
    if volumes.mean.shape != (n,) or volumes.covariance.shape != (n, n):
        raise ValueError(f"expected {n} volumes, got shape {volumes.mean.shape}")
    if not np.all(volumes.mean > 0):
        raise ModelError(
            "A volume or weight of zero or less cannot be compared.", do="Check the figures entered."
        )
    return volumes.mean


def _estimate(value: float, slope: list[float], volumes: Volumes) -> Estimate[float]:
    gradient = np.array(slope)
    variance = float(gradient @ volumes.covariance @ gradient)
    return Estimate(float(value), math.sqrt(max(variance, 0.0)))


def excess_volume(volumes: Volumes) -> Estimate[float]:
    """Return ``EV = V_aff - V_ref``, mL, of (affected, reference).

    Examples
    --------
    >>> limbs = Volumes.apart(Estimate(2300.0, 20.0), Estimate(2000.0, 15.0))
    >>> excess_volume(limbs)
    Estimate(mean=300.0, sd=25.0)
    """
    affected, reference = _checked(volumes, 2)
    return _estimate(affected - reference, [1.0, -1.0], volumes)


def percent_excess(volumes: Volumes) -> Estimate[float]:
    """Return ``PEV = 100 EV / V_ref``, %, of (affected, reference).

    Examples
    --------
    >>> found = percent_excess(Volumes.apart(Estimate(2300.0, 20.0), Estimate(2000.0, 15.0)))
    >>> round(found.mean, 1), round(found.sd, 2)
    (15.0, 1.32)
    >>> percent_excess(Volumes.apart(Estimate(2300.0, 20.0), Estimate(0.0, 15.0)))
    Traceback (most recent call last):
    ...
    digitise.errors.ModelError: A volume or weight of zero or less cannot be compared. ...
    """
    affected, reference = _checked(volumes, 2)
    slope = [100 / reference, -100 * affected / reference**2]
    return _estimate(100 * (affected / reference - 1), slope, volumes)


def percent_reduction_current_reference(volumes: Volumes) -> Estimate[float]:
    """Return ``PREV = 100 (EV_0 - EV_t) / EV_0``, %, with EV_t against the reference limb now.

    Definition as in Forner-Cordero and in the trial NCT01748604.

    Parameters
    ----------
    volumes
        (affected, reference at baseline, affected, reference now).

    Raises
    ------
    ModelError
        When the excess at baseline is not surely above zero.

    Examples
    --------
    >>> four = [Estimate(volume, 10.0) for volume in (2300.0, 2000.0, 2150.0, 2000.0)]
    >>> round(percent_reduction_current_reference(Volumes.apart(*four)).mean, 1)
    50.0
    """
    _checked(volumes, 4)
    return _reduction(volumes, (0.0, 0.0, 1.0, -1.0))


def percent_reduction_fixed_reference(volumes: Volumes) -> Estimate[float]:
    """Return ``100 (EV_0 - EV_t) / EV_0``, %, with EV_t against the reference limb as it was at baseline.

    Parameters
    ----------
    volumes
        (affected, reference at baseline, affected now).

    Raises
    ------
    ModelError
        When the excess at baseline is not surely above zero.

    Examples
    --------
    >>> three = [Estimate(volume, 10.0) for volume in (2300.0, 2000.0, 2225.0)]
    >>> round(percent_reduction_fixed_reference(Volumes.apart(*three)).mean, 1)
    25.0
    """
    _checked(volumes, 3)
    return _reduction(volumes, (0.0, -1.0, 1.0))


def _reduction(volumes: Volumes, left: Sequence[float]) -> Estimate[float]:
    """Return by how much the excess ``left @ volumes`` is less than that of the first two, %.

    A small excess at baseline is known badly, and dividing by it makes intervals lopsided: the sd is such
    that 1.96 of it reach to the farther end of Fieller's interval of a ratio (Fieller 1954, J R Stat Soc B
    16(2):175-185), which is the usual sd where the baseline is known well.
    """
    excess = _sure_excess(volumes)
    rows = np.zeros((2, len(volumes.mean)))
    rows[0], rows[1, :2] = left, (1.0, -1.0)
    (own, both), (_, below) = rows @ volumes.covariance @ rows.T
    ratio, unsure = float(rows[0] @ volumes.mean) / excess, Z95**2 * below / excess**2
    shift = (ratio * unsure - Z95**2 * both / excess**2) / (1.0 - unsure)
    spread = own - 2 * ratio * both + ratio**2 * below - unsure * (own - both**2 / max(below, _TINY))
    half = Z95 * math.sqrt(max(spread, 0.0)) / (excess * (1.0 - unsure))
    return Estimate(100 * (1 - ratio), float(100 * (abs(shift) + half) / Z95))


def _sure_excess(volumes: Volumes) -> float:
    """Return the excess of the first two volumes, by which others may be divided."""
    baseline = excess_volume(Volumes(volumes.mean[:2], volumes.covariance[:2, :2]))
    if baseline.mean <= Z95 * baseline.sd:
        raise ModelError(
            f"The excess at the first visit ({baseline.mean:.0f} mL) is not surely above zero, so its "
            "reduction has no percentage.",
            do="Give the change in mL instead.",
        )
    return baseline.mean


def percent_limb_change(volumes: Volumes) -> Estimate[float]:
    """Return ``100 (V_t - V_0) / V_0``, %, of (limb at baseline, limb now).

    Examples
    --------
    >>> round(percent_limb_change(Volumes.apart(Estimate(2000.0, 10.0), Estimate(1900.0, 10.0))).mean, 1)
    -5.0
    """
    first, later = _checked(volumes, 2)
    return _estimate(100 * (later / first - 1), [-100 * later / first**2, 100 / first], volumes)


@dataclass(frozen=True)
class Excess:
    """Excess of one limb over the other.

    Attributes
    ----------
    excess_ml
        Affected minus reference.
    percent
        Of the reference limb; None where both limbs are swollen.
    note
        Why the percentage is hidden, or empty.
    """

    excess_ml: Estimate[float]
    percent: Estimate[float] | None
    note: str


def excess(volumes: Volumes, *, bilateral: bool) -> Excess:
    """Return the excess of (affected, reference), its percentage hidden where both limbs are swollen.

    Examples
    --------
    >>> both = Volumes.apart(Estimate(2300.0, 20.0), Estimate(2000.0, 15.0))
    >>> excess(both, bilateral=True).percent is None
    True
    """
    if bilateral:
        return Excess(excess_volume(volumes), None, BILATERAL)
    return Excess(excess_volume(volumes), percent_excess(volumes), "")
