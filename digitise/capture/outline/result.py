"""What was found of a limb in one photograph: its two edges, and how much each point of them knows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.capture.outline.correction import Side
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.geometry.view import Edge, unsure_parts

SIDES: tuple[Side, Side] = ("left", "right")


@dataclass(frozen=True)
class Stretch:
    """A stretch of one edge that could not be told from its surroundings.

    Attributes
    ----------
    side
        ``left`` or ``right`` as seen in the photograph.
    from_mm, to_mm
        Heights on the axis, mm.
    """

    side: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Hidden:
    """A stretch of one edge that something hides, or lies against so that nothing tells them apart.

    Attributes
    ----------
    side
        ``left`` or ``right`` as seen in the photograph.
    from_mm, to_mm
        Heights on the axis, mm.
    what
        What hides it, in words that follow "is hidden by".
    """

    side: str
    from_mm: float
    to_mm: float
    what: str


@dataclass(frozen=True)
class ByHand:
    """What a person's correction changed in an outline.

    Attributes
    ----------
    drawn_mm
        Length of the left and of the right edge that lies where it was drawn, mm of height.
    share
        Of both edges' points, 0 to 1.
    strokes
        How many said that what they cover is limb or background.
    """

    drawn_mm: tuple[float, float]
    share: float
    strokes: int


@dataclass(frozen=True)
class Outline:
    """Both edges of the limb in one photograph.

    Attributes
    ----------
    edges
        Left and right edge as seen, each from the foot to the trunk.
    heights
        For each edge (N,) the height at which a point's ray meets the plane through the axis, mm.
    hem_mm
        Height at which cloth begins, where the edges end; None when skin is seen to the top.
    by_hand
        What was corrected by hand; None without a correction.
    hidden
        Stretches longer than 10 mm that are not seen, each with what hides it.
    supported
        Stretches of a limb that lies beside which something other than the sheet is seen.
    """

    edges: tuple[Edge, Edge]
    heights: tuple[Array, Array]
    hem_mm: float | None
    by_hand: ByHand | None = None
    hidden: tuple[Hidden, ...] = ()
    supported: tuple[Stretch, ...] = ()

    @property
    def sure_share(self) -> float:
        """Share of the points of both edges that is sure, 0 to 1."""
        return float(np.mean(np.concatenate([edge.sure for edge in self.edges])))

    def doubts(self, from_mm: float = -np.inf, to_mm: float = np.inf) -> tuple[Stretch, ...]:
        """Return the stretches of both edges between two heights, mm, that are not sure."""
        return tuple(
            Stretch(side, low, high)
            for side, edge, z in zip(SIDES, self.edges, self.heights, strict=True)
            for low, high in unsure_parts(z[~edge.sure & (z >= from_mm) & (z <= to_mm)])
        )

    def edges_above(self, height_mm: float) -> tuple[Edge, Edge]:
        """Return both edges without what lies lower than a height, mm."""
        left, right = (edge.pick(at > height_mm) for edge, at in zip(self.edges, self.heights, strict=True))
        return left, right


def stretches(side: str, flags: NDArray[np.bool_], heights: Array) -> list[Stretch]:
    """Return where flags (n,) hold for 10 mm or more; heights (n,) rise, mm."""
    steps = true_runs(flags)
    found = [Stretch(side, float(heights[a]), float(heights[b - 1])) for a, b in steps]
    return [stretch for stretch in found if stretch.to_mm - stretch.from_mm >= 10.0]
