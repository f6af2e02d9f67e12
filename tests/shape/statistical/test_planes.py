import numpy as np
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.spatial import ConvexHull

from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.model import ShapeModel, beside_edges, edges_of
from digitise.shape.statistical.planes import TangentPlanes, touch, touch_outline


def plane(origin, normal, along):
    return TangentPlanes(
        *(np.array([each], float) for each in (origin, normal, along)),
        np.zeros(1),
        np.ones(1),
        np.zeros(1, int),
        np.zeros(1),
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


def test_each_of_two_fingers_is_touched_on_its_own_side():
    """Round fingers of radius 9 side by side, seen from above: four lines at closed places."""
    fingers = []
    for x in (0.0, 25.0):
        lying = trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0])
        lying[0, 3] = x
        fingers.append(trimesh.creation.cylinder(9.0, 80.0, sections=720, transform=lying))
    both = trimesh.util.concatenate(fingers)
    faces = np.asarray(both.faces, np.int64)
    model = ShapeModel(np.array(both.vertices), np.zeros((0, len(both.vertices), 3)), faces, edges_of(faces))
    eye = np.array([12.5, 0.0, 5e5])  # so far away that rays run side by side
    lines = [(-9.0, -1.0), (9.0, 1.0), (16.0, -1.0), (34.0, 1.0)]
    off = np.array([0.7, -0.6, 0.5, -0.4])  # the outline that was seen lies so far outside
    count = len(lines)
    normal = np.array([[way, 0.0, 0.0] for _, way in lines])
    origin = np.array([[x + way * gap, 0.0, eye[2]] for (x, way), gap in zip(lines, off, strict=True)])
    seen = TangentPlanes(
        origin,
        normal,
        np.tile([0.0, 1.0, 0.0], (count, 1)),
        np.zeros(count),
        np.ones(count),
        np.zeros(count, int),
        np.zeros(count),
    )
    found = touch_outline(model.mean, model, beside_edges(faces), seen)
    # a cylinder of 720 sides: its edges lie within 1e-4 of the circle, the outline within one edge, 0.08
    assert_allclose(found.reached, -off, atol=0.01)
    # the farthest point of all is another finger's
    assert touch(np.asarray(both.vertices), edges_of(faces), seen).reached[1] > 20.0


def test_beside_every_edge_lie_the_two_faces_that_hold_it():
    hull = trimesh.creation.icosphere(subdivisions=2)
    faces = np.asarray(hull.faces, np.int64)
    edges, beside = edges_of(faces), beside_edges(faces)
    assert len(edges) == len(beside) == 3 * len(faces) // 2
    for edge, pair in zip(edges, beside, strict=True):
        assert pair[0] != pair[1]
        assert all(set(edge) <= set(faces[face]) for face in pair)
