"""A measured foot or hand among the arrays of a limb.npz."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import LimbKind
from digitise.errors import ShapeError
from digitise.shape.end import EndPart
from digitise.shape.foot.join import join_foot, require_low
from digitise.shape.foot.prior import usual_foot
from digitise.shape.hand.join import join_hand, require_at_wrist
from digitise.shape.hand.prior import usual_hand
from digitise.shape.limb import Limb
from digitise.shape.statistical.model import ShapeModel
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PLACES, PlacedShape

Arrays = dict[str, NDArray[np.float64]]
_FOOT = ("foot_parameters", "foot_covariance")
_HAND = ("hand_parameters", "hand_covariance")
_WRIST = "hand_above_wrist"
END_ARRAYS = {_FOOT[0]: 1, _FOOT[1]: 2, _HAND[0]: 1, _HAND[1]: 2, _WRIST: 0}
"""Their names and how many dimensions each has."""
_MOST_SDS = 20.0  # of a parameter off the usual one
_FARTHEST_MM = 2_000.0


def end_to_arrays(end: EndPart | None) -> Arrays:
    """Return the arrays of a foot or hand, none without one."""
    if end is None:
        return {}
    names = _FOOT if end.name == "foot" else _HAND
    belief = end.belief
    arrays = dict(zip(names, (belief.surface.parameters, belief.covariance), strict=True))
    return arrays if end.name == "foot" else {**arrays, _WRIST: np.array(end.above_wrist_mm)}


def end_from_arrays(arrays: Arrays, limb: Limb) -> EndPart | None:
    """Restore the foot or hand of a limb; None where the arrays hold none.

    Parameters
    ----------
    arrays
        Of a limb.npz, finite numbers.
    limb
        The leg or arm in it.

    Raises
    ------
    ShapeError
        The arrays are not those of a foot or hand of this limb.
    """
    if any(name in arrays for name in _FOOT):
        if limb.kind != LimbKind.LEG:
            raise ShapeError("the foot is none of this limb", do="")
        belief = _belief(arrays, _FOOT, usual_foot(limb.side))
        require_low(limb)
        return join_foot(belief, limb)
    if any(name in arrays for name in (*_HAND, _WRIST)):
        if limb.kind != LimbKind.ARM or not limb.lying or _WRIST not in arrays:
            raise ShapeError("the hand is none of this limb", do="")
        belief = _belief(arrays, _HAND, usual_hand(limb.side))
        wrist = limb.from_mm - float(arrays[_WRIST])
        require_at_wrist(limb, wrist)
        return join_hand(belief, limb, wrist)
    return None


def _belief(arrays: Arrays, names: tuple[str, str], prior: ShapeModel) -> ShapeBelief:
    size = len(prior.modes) + PLACES
    parameters, covariance = (arrays.get(name, np.zeros(0)) for name in names)
    if parameters.shape != (size,) or covariance.shape != (size, size):
        raise ShapeError("it is not one of this program's", do="")
    if np.max(np.abs(parameters[:-PLACES])) > _MOST_SDS or np.max(np.abs(parameters)) > _FARTHEST_MM:
        raise ShapeError("it is unlike any", do="")
    return ShapeBelief(PlacedShape(prior, parameters), covariance, np.zeros(0))
