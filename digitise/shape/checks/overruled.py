"""Doubtful stretches of edge that the tape overrules: what was followed there is not the limb's edge."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from digitise.shape.rounds import Stretch
from digitise.shape.solve import EdgeData
from digitise.shape.taped import NEAR_MM, TapeCheck

# No tail of an unsure edge's errors reaches so many sds.
_BEYOND_Z = 5.0
_HARDLY_SURE = 0.1


def overruled(checks: Sequence[TapeCheck], edges: Sequence[EdgeData]) -> tuple[Stretch, ...]:
    """Return the unsure stretches beside tape rows that the photographs contradict.

    An unsure point is taken to lie a few pixels off the limb's edge. Where a girth says that it lies far
    further off, that is no error of a place but another body's edge, and it says nothing of this limb; up to
    the next row that agrees, nobody knows from where on.

    Parameters
    ----------
    checks
        Every tape row beside the photographs.
    edges
        The samples that entered.
    """
    agreed = [check.row.height_mm for check in checks if check.verdict == "agrees"]
    wrong = [
        check.row.height_mm for check in checks if check.verdict == "differs" and abs(check.z) > _BEYOND_Z
    ]
    return tuple(stretch for height in wrong for data in edges for stretch in _beside(height, agreed, data))


def doubtful_edges(edges: Sequence[EdgeData]) -> tuple[Stretch, ...]:
    """Return the edges hardly a point of which is sure, from end to end.

    What was followed in their stead is off as a whole: where all tape rows contradict the photographs alike,
    it may be that edge, and no scale.

    Parameters
    ----------
    edges
        The samples that entered.
    """
    return tuple(
        (data.view, data.edge, -np.inf, np.inf) for data in edges if np.mean(data.samples.sure) < _HARDLY_SURE
    )


def _beside(height: float, agreed: Sequence[float], data: EdgeData) -> Iterator[Stretch]:
    low = max((z for z in agreed if z < height), default=-np.inf)
    high = min((z for z in agreed if z > height), default=np.inf)
    doubtful = data.samples.z[~data.samples.sure]
    if np.any(np.abs(doubtful - height) < NEAR_MM):
        yield data.view, data.edge, low, high
