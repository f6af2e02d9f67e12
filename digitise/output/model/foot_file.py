"""A measured foot among the arrays of a limb.npz."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.errors import ShapeError
from digitise.shape.foot.join import Foot, join_foot, require_low
from digitise.shape.foot.prior import usual_foot
from digitise.shape.limb import Limb
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PLACES, PlacedShape

Arrays = dict[str, NDArray[np.float64]]
FOOT_ARRAYS = ("foot_parameters", "foot_covariance")
_MOST_SDS = 20.0  # of a parameter off the usual foot
_FARTHEST_MM = 2_000.0


def foot_to_arrays(foot: Foot | None) -> Arrays:
    """Return the arrays of a foot, none without one."""
    if foot is None:
        return {}
    belief = foot.belief
    return dict(zip(FOOT_ARRAYS, (belief.surface.parameters, belief.covariance), strict=True))


def foot_from_arrays(arrays: Arrays, limb: Limb) -> Foot | None:
    """Restore a foot below its leg; None where the arrays hold none.

    Parameters
    ----------
    arrays
        Of a limb.npz, finite numbers.
    limb
        The leg in it.

    Raises
    ------
    ShapeError
        The arrays are not those of a foot below this leg.
    """
    if not any(name in arrays for name in FOOT_ARRAYS):
        return None
    prior = usual_foot(limb.side)
    size = len(prior.modes) + PLACES
    parameters, covariance = (arrays.get(name, np.zeros(0)) for name in FOOT_ARRAYS)
    if limb.kind != "leg" or parameters.shape != (size,) or covariance.shape != (size, size):
        raise ShapeError("the foot is none of this limb", do="")
    if np.max(np.abs(parameters[:-PLACES])) > _MOST_SDS or np.max(np.abs(parameters)) > _FARTHEST_MM:
        raise ShapeError("the foot is unlike any foot", do="")
    require_low(limb)
    return join_foot(ShapeBelief(PlacedShape(prior, parameters), covariance, np.zeros(0)), limb)
