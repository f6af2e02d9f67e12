"""The foot joined to its leg."""

from __future__ import annotations

from digitise.errors import ShapeError
from digitise.shape.end import EndPart, drawn_to
from digitise.shape.foot.planes import HIGHEST_MM
from digitise.shape.limb import Limb
from digitise.shape.statistical.model import beside_edges
from digitise.shape.statistical.solve import ShapeBelief

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
    if surface.vertices()[rim, 2].min() <= limb.from_mm:
        raise ShapeError(
            "Its shape does not settle.",
            do="Take the photograph from above again, with the whole foot or hand and the mat in it.",
        )
    joined = drawn_to(limb, surface.vertices(), surface.prior.edges)
    return EndPart("foot", belief, limb.from_mm, joined)
