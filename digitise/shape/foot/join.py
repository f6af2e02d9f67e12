"""The foot joined to its leg."""

from __future__ import annotations

import numpy as np

from digitise.errors import ShapeError
from digitise.shape.end import EndPart, drawn_to
from digitise.shape.foot.planes import HIGHEST_MM
from digitise.shape.limb import Limb, coefficients
from digitise.shape.statistical.model import beside_edges
from digitise.shape.statistical.solve import ShapeBelief

# A foot is as long as from its toes to the heel that hangs on the leg.  Of 21 made feet 18 had an sd of 1.1
# to 2.8 mm; at 4.9 the volume was true, at 7.8 it was 20 % off with an interval of 4, at 9.6 5 % off with 6.
_MOST_SD_MM = 6.0
HIGHEST_JOINT_MM = HIGHEST_MM - 15.0
"""A leg that begins higher up does not reach down to what the usual foot knows of it."""


def require_low(limb: Limb) -> None:
    """Refuse a leg that is not known as far down as a foot reaches.

    Raises
    ------
    ShapeError
        It is not.
    """
    if limb.from_mm > HIGHEST_JOINT_MM:
        raise ShapeError(
            f"the leg is measured from {limb.from_mm:.0f} mm up, the foot ends at {HIGHEST_JOINT_MM:.0f} mm.",
            do="Measure the leg from a lower height.",
        )


def require_placed(limb: Limb) -> None:
    """Refuse a leg of which it is not known well enough where it stands on its foot.

    Parameters
    ----------
    limb
        The leg, its axis the world's z.

    Raises
    ------
    ShapeError
        The middle of its lowest section is known too badly.
    """
    _, covariance = coefficients(limb, np.array([limb.from_mm]))
    # the first harmonic of a support function is the place of the section
    sd = float(np.sqrt(np.diagonal(covariance[0])[1:3].max()))
    if sd > _MOST_SD_MM:
        raise ShapeError(
            f"where the leg stands on it is known to {sd:.0f} mm only.",
            do="Take the photograph from the side again, with nothing beside or behind the ankle.",
        )


def join_foot(belief: ShapeBelief, limb: Limb) -> EndPart:
    """Draw a foot to the leg above it.

    Parameters
    ----------
    belief
        The foot.
    limb
        The leg, its axis the world's z, :func:`known as far down as the foot reaches <require_low>`.

    Raises
    ------
    ShapeError
        The foot was bent so far from any usual one that it ends below its leg.
    """
    surface = belief.surface
    beside = beside_edges(surface.prior.faces)
    rim = surface.prior.edges[beside[:, 0] == beside[:, 1]]
    if surface.vertices[rim, 2].min() <= limb.from_mm:
        raise ShapeError(
            "Its shape does not settle.",
            do="Take the photograph from above again, with the whole foot or hand and the mat in it.",
        )
    joined = drawn_to(limb, surface.vertices, surface.prior.edges)
    return EndPart("foot", belief, limb.from_mm, joined)
