"""How alike the shapes of two limbs are: the same limb at two visits, or the two sides of a body."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array

# A layer of swelling is alike over this height, as the priors of sections are.
_LENGTH_MM = 70.0


@dataclass(frozen=True)
class Likeness:
    """What two limbs have in common beyond their prior.

    Attributes
    ----------
    share
        Of each order from 2 on, what a change of the mean radius adds to each coefficient (sd over change);
        the last holds for all further orders.
    least_mm
        What stands for a change of the mean radius where there is none: posture bends a section by as much.
    correlation
        Of the two anatomies; 1 for the same limb.
    """

    share: tuple[float, ...]
    least_mm: float
    correlation: float

    def difference(self, orders: tuple[int, ...], height_mm: Array, depth_mm: Array, prior: Array) -> Array:
        """Return the covariance of the difference of K orders' cosines and sines between two limbs.

        Parameters
        ----------
        orders
            From 2 on.
        height_mm, depth_mm
            (Z,) heights and by how much the mean radius differs there, mm.
        prior
            (2 K Z, 2 K Z) prior covariance of either limb, each order's cosines before its sines, mm^2.

        Returns
        -------
        (2 K Z, 2 K Z) mm^2.

        Examples
        --------
        >>> z, prior = np.array([100.0, 125.0]), np.eye(4)
        >>> found = Likeness((0.15,), 1.0, 1.0).difference((2,), z, np.array([0.0, 3.0]), prior)
        >>> [round(float(sd), 3) for sd in np.sqrt(np.diag(found))]
        [0.15, 0.474, 0.15, 0.474]
        """
        share = np.array([self.share[min(order - 2, len(self.share) - 1)] for order in orders])
        distance = np.abs(height_mm[:, None] - height_mm) * np.sqrt(3.0) / _LENGTH_MM
        sd = np.hypot(depth_mm, self.least_mm)
        layer = np.outer(sd, sd) * (1 + distance) * np.exp(-distance)
        return np.kron(np.diag(np.repeat(share, 2) ** 2), layer) + 2 * (1 - self.correlation) * prior


# A layer that is d ((1 + cos) / 2)^n thick has, over its mean depth, orders 2, 3, 4 of 0.3, 0, 0 for n = 2
# and of 0.8, 0.2, 0.03 for n = 4.  What comes off a limb comes off round most of it, so about a fifth of
# that.  The bodies of docs/accuracy.md changed by a third of these sds.
_SHARE = (0.15, 0.06, 0.03, 0.02, 0.015)
_LEAST_MM = 1.0
SAME_LIMB = Likeness(_SHARE, _LEAST_MM, 1.0)
# The two sides of a body are alike, but muscles and long-standing swelling differ.
OTHER_LIMB = Likeness(_SHARE, _LEAST_MM, 0.8)
