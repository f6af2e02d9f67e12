"""Of which side a foot is: said only where a foot of the other side fits well."""

import numpy as np
import pytest
from painted_feet import random_foot

from digitise.anatomy import Side
from digitise.errors import OutlineError
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.planes import TangentPlanes, touch
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PlacedShape
from digitise.workflow.foot import _require_side

PLANES = 240


def planes_round(surface, off_mm, rng):
    """Planes that a foot touches from inside, seen from above and from the outer side, so far off (sd)."""
    angle = rng.uniform(0, 2 * np.pi, PLANES)
    above = np.arange(PLANES) % 2 == 0
    level = np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    aside = np.stack([0 * angle, np.cos(angle), np.sin(angle)], axis=1)
    view = np.where(above[:, None], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0])
    normal = np.where(above[:, None], level, aside)
    vertices = surface.vertices
    origin = vertices[rng.integers(len(vertices), size=PLANES)]
    planes = TangentPlanes(
        origin, normal, np.cross(normal, view), np.zeros(PLANES), np.full(PLANES, 1.6),
        np.full(PLANES, -1), np.zeros(PLANES),
    )  # fmt: skip
    reached = touch(vertices, surface.prior.edges, planes).reached
    distance = np.where(np.isfinite(reached), reached, 0.0) + rng.normal(0.0, off_mm, PLANES)
    return TangentPlanes(
        origin, normal, planes.along, distance, planes.sd, np.full(PLANES, -1), np.zeros(PLANES)
    )


def called(side):
    return ShapeBelief(PlacedShape.usual(usual_foot(side)), np.eye(1), np.zeros(0))


def test_the_other_side_is_told_where_it_fits():
    rng = np.random.default_rng(4)
    planes = planes_round(random_foot("left", rng), 0.3, rng)
    with pytest.raises(OutlineError, match="looks like a left foot"):
        _require_side(called(Side.RIGHT), planes, Side.RIGHT)


def test_where_neither_side_fits_none_is_named():
    """Edges lost in too much light: 15 mm off at random."""
    rng = np.random.default_rng(5)
    _require_side(called(Side.RIGHT), planes_round(random_foot("left", rng), 15.0, rng), Side.RIGHT)
