import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial import ConvexHull

from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.model import edges_of
from digitise.shape.statistical.planes import TangentPlanes, touch


def plane(origin, normal, along):
    return TangentPlanes(
        *(np.array([each], float) for each in (origin, normal, along)),
        np.zeros(1),
        np.ones(1),
        np.zeros(1, int),
    )


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_reaches_as_far_as_an_independent_cut(seed):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(40, 3)) * [40, 90, 30]
    hull = ConvexHull(points)
    frame = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    origin = rng.normal(size=3) * 5
    found = touch(points, edges_of(hull.simplices.astype(np.int64)), plane(origin, frame[0], frame[1]))
    cut = trimesh.intersections.mesh_plane(
        trimesh.Trimesh(points, hull.simplices, process=False), frame[1], origin
    ).reshape(-1, 3)
    assert_allclose(found.reached[0], ((cut - origin) @ frame[0]).max(), atol=1e-9)
    first, second = points[found.ends[0]]
    there = first + found.share[0] * (second - first)
    assert_allclose(
        [(there - origin) @ frame[0], (there - origin) @ frame[1]], [found.reached[0], 0], atol=1e-9
    )


def test_a_plane_beside_the_surface_is_not_reached():
    prior = usual_foot("left")
    found = touch(prior.mean, prior.edges, plane([0, 0, 400.0], [1, 0, 0], [0, 0, 1]))
    assert found.reached[0] == -np.inf
