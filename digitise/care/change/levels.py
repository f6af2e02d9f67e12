"""Change of the sections' area along a limb."""

from __future__ import annotations

import numpy as np

from digitise.care.change.compare import Change
from digitise.geometry.rigid import Array
from digitise.geometry.support import area_weights
from digitise.shape.limb import Estimate, area, coefficients


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
