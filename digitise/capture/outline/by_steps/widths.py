"""How wide a limb is in one photograph, and by it how wide it may be in another one of the same visit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.capture.outline.region import FOOT_TOP_MM
from digitise.capture.outline.result import Outline
from digitise.capture.photo.rectified import Strip, facing_plane
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.values import read_only

# Above the foot, edges that were sure and right in two photographs of made visits were 0.72 to 1.41 of each
# other's distance apart on 98 % of 6,400 rows; in one photograph, at a swollen instep, 9 % of the rows were
# not.
_LEAST, _MOST = 0.72, 1.38
_BEYOND = 0.2  # per 100 mm above or below the widths that are known: a calf tapers by less
_MOST_SLACK = 3.0  # as much as says nothing
MOSTLY_WITHIN = 0.8  # of the heights: nearly all of a limb found rightly is so wide
_FEWEST = 30  # rows of 2 mm: fewer tell a piece of a limb


@dataclass(frozen=True, eq=False)
class Widths:
    """How wide a limb is as one photograph shows it.

    Attributes
    ----------
    heights
        (n,) heights, mm, rising.
    across
        (n,) distance of its two edges there, mm.
    """

    heights: Array
    across: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    def bounds(self, heights: Array) -> Array:
        """Return the least and the greatest width (n, 2), mm, at heights (n,), seen from anywhere.

        Examples
        --------
        >>> seen = Widths(np.array([100.0, 300.0]), np.array([100.0, 150.0]))
        >>> seen.bounds(np.array([200.0, 400.0])).round(1)
        array([[ 90. , 172.5],
               [ 90. , 248.4]])
        """
        width = np.interp(heights, self.heights, self.across)
        beyond = np.maximum(np.maximum(self.heights[0] - heights, heights - self.heights[-1]), 0.0)
        slack = np.minimum(1.0 + _BEYOND * beyond / 100.0, _MOST_SLACK)
        return np.stack([_LEAST * width / slack, _MOST * width * slack], axis=1)


def seen_widths(outline: Outline, camera: Camera, axis_from_world: Pose) -> Widths | None:
    """Return how wide a limb is above the foot where both its edges are sure; None where hardly any are."""
    both = outline.edges[0].sure & outline.edges[1].sure & (outline.heights[0] > FOOT_TOP_MM)
    across = _across(outline, camera, axis_from_world)[both]
    return Widths(outline.heights[0][both], across) if np.count_nonzero(both) >= _FEWEST else None


def share_within(outline: Outline, camera: Camera, axis_from_world: Pose, widths: Widths) -> float:
    """Tell on which share of the heights above the foot that ``widths`` spans an outline is so wide, 0 to 1.

    Where an edge is not seen it says nothing, unless hardly any height is seen on both sides.  Where the
    outline holds none of those heights, 0.
    """
    heights = outline.heights[0]
    spanned = (heights >= max(widths.heights[0], FOOT_TOP_MM)) & (heights <= widths.heights[-1])
    seen = spanned & outline.edges[0].seen & outline.edges[1].seen
    spanned = seen if np.count_nonzero(seen) >= _FEWEST else spanned
    if not spanned.any():
        return 0.0
    least, most = widths.bounds(heights[spanned]).T
    across = _across(outline, camera, axis_from_world)[spanned]
    return float(np.mean((across >= least) & (across <= most)))


def share_covered(outline: Outline, widths: Widths) -> float:
    """Tell how much of the heights above the foot that ``widths`` spans an outline reaches over, 0 to 1."""
    low, high = max(float(widths.heights[0]), FOOT_TOP_MM), float(widths.heights[-1])
    reach = min(high, float(outline.heights[0][-1])) - max(low, float(outline.heights[0][0]))
    return float(np.clip(reach / max(high - low, 1.0), 0.0, 1.0))


def _across(outline: Outline, camera: Camera, axis_from_world: Pose) -> Array:
    """Measure how far apart both edges are at each height, mm, in the plane through the axis."""
    none = np.empty(0)
    plane = facing_plane(camera, axis_from_world)
    strip = Strip(camera, plane, none, none, np.zeros((0, 0, 3), np.uint8))
    left, right = (strip.plane_from_photo(edge.points)[:, 0] for edge in outline.edges)
    return np.asarray(right - left)
