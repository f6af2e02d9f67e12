import dataclasses

import numpy as np
import pytest
import synthetic
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from digitise.errors import ShapeError
from digitise.geometry.camera import Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.support import axis_from_points
from digitise.geometry.view import Edge
from digitise.shape import tangents

OVAL = synthetic.EllipticFrustum(0, 800, (40, 50), (85, 75), (0, 10), (40, -20), turn=0.4)
WIDE = Lens(2950.0, np.array([1500.0, 2030.0]), 0.08, -0.12)


@settings(max_examples=30, deadline=None)
@given(
    low=st.floats(30, 90),
    high=st.floats(30, 90),
    ratio=st.floats(0.7, 1.4),
    lean=st.floats(-60, 60),
    direction=st.floats(0, 360),
    height=st.floats(150, 900),
)
def test_samples_lie_on_the_support_function(low, high, ratio, lean, direction, height):
    solid = synthetic.EllipticFrustum(0, 800, (low, low * ratio), (high * ratio, high), (0, 0), (lean, -lean))
    camera = synthetic.walking_cameras((direction,), height=height, lens=WIDE)[0]
    (view,) = synthetic.exact_views(solid, (camera,), 100, 700, step=60)
    for edge in view.edges:
        planes = tangents.tangent_planes(camera, edge, Pose.identity())
        theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
        z = np.arange(100, 701, 60.0)
        samples = tangents.touch(planes, solid.support(theta, z)[1])
        # the edge's direction is taken over one pixel, whose bend is 1e-6 of it
        assert_allclose(samples.z, z, atol=1e-3)
        assert_allclose(samples.h, solid.support(samples.theta, samples.z)[0], atol=1e-4)


def test_pixel_scale_is_what_a_moved_edge_does():
    camera = synthetic.walking_cameras((20.0,), lens=WIDE)[0]
    (view,) = synthetic.exact_views(OVAL, (camera,), 100, 700, step=60)
    edge = view.edges[0]
    moved = dataclasses.replace(edge, points=edge.points + 0.5 * edge.normals)
    planes, planes_moved = (tangents.tangent_planes(camera, e, Pose.identity()) for e in (edge, moved))
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    touching = OVAL.support(theta, np.arange(100, 701, 60.0))[1]
    here, there = tangents.touch(planes, touching), tangents.touch(planes_moved, touching)
    # seen from above or below, a moved rim of a tapering limb also changes height: take that out
    slope = OVAL.support(here.theta, here.z)[2]
    turned = OVAL.support(here.theta, here.z)[1]
    change = there.h - here.h - slope * (there.z - here.z) - turned * (there.theta - here.theta)
    assert_allclose(change / 0.5, here.mm_per_px, rtol=2e-3)


def test_blocks_average_and_keep_doubt():
    y = np.arange(0.0, 64.0)
    points = np.stack([0.01 * (y - 32) ** 2, y], axis=1)
    normals = np.stack([np.ones(64), np.zeros(64)], axis=1)
    sure = np.ones(64, bool)
    sure[20] = False
    blocked = tangents.block_edge(Edge(points, normals, np.full(64, 0.3), sure, np.ones_like(sure)))
    assert len(blocked.points) < 12
    assert np.count_nonzero(~blocked.sure) == 1
    assert_allclose(blocked.sd_px, 0.3)
    # sagitta of a block of 8 px on a radius of 50 px, averaged: 8^2 / (24 50)
    assert np.abs(blocked.points[:, 0] - 0.01 * (blocked.points[:, 1] - 32) ** 2).max() < 0.06


def one_edge(views):
    return (dataclasses.replace(views[0], edges=views[0].edges[:1]), views[1])


def few_points(views):
    edge = views[1].edges[0]
    short = Edge(edge.points[:4], edge.normals[:4], edge.sd_px[:4], edge.sure[:4], edge.seen[:4])
    return (views[0], dataclasses.replace(views[1], edges=(short, views[1].edges[1])))


def broken_point(views):
    edge = views[1].edges[0]
    points = edge.points.copy()
    points[5] = np.nan
    edges = (dataclasses.replace(edge, points=points), views[1].edges[1])
    return (views[0], dataclasses.replace(views[1], edges=edges))


@pytest.mark.parametrize(
    ("spoil", "message"),
    [
        (one_edge, "view-1: The limb's edge is needed on both sides"),
        (few_points, "view-2: An edge of the limb has too few usable points"),
        (broken_point, "view-2: An edge of the limb has too few usable points"),
    ],
)
def test_unusable_edges_are_named(spoil, message):
    views = synthetic.exact_views(OVAL, synthetic.walking_cameras(), 100, 700, step=5)
    with pytest.raises(ShapeError, match=message):
        tangents.usable_edges(spoil(views), Pose.identity())


@pytest.mark.parametrize(
    ("directions", "usable"), [((90, 0), True), ((60, 30), True), ((60, 45), False), ((200, 20), False)]
)
def test_views_must_look_from_different_directions(directions, usable):
    views = synthetic.exact_views(OVAL, synthetic.walking_cameras(directions), 100, 700, step=5)
    edges = tangents.usable_edges(views, Pose.identity())
    planes = tangents.view_planes(tuple(view.camera for view in views), edges, Pose.identity())
    if usable:
        centre = tangents.common_centre(planes, ("a", "b"))
        # the middle of all heights of a limb that leans by 40 mm
        assert np.linalg.norm(centre - [20, -5]) < 15
    else:
        with pytest.raises(ShapeError, match="a, b: The photographs look at the limb from nearly the same"):
            tangents.common_centre(planes, ("a", "b"))


def test_stretches_across_the_axis_are_left_out():
    views = synthetic.exact_views(OVAL, synthetic.walking_cameras(), 100, 700, step=2)
    edge = views[0].edges[0]
    # the outline goes on along a hem: 60 px inward at the upper end
    hem = edge.points[-1] + np.arange(1, 61)[:, None] * np.array([1.0, 0.0])
    points = np.concatenate([edge.points, hem])
    normals = np.concatenate([edge.normals, np.tile([0.0, -1.0], (60, 1))])
    longer = Edge(points, normals, np.full(len(points), 0.1), *np.ones((2, len(points)), bool))
    view = dataclasses.replace(views[0], edges=(longer, views[0].edges[1]))
    (kept, _), _ = tangents.usable_edges((view, views[1]), Pose.identity())
    plain = tangents.block_edge(edge)
    assert abs(len(kept.points) - len(plain.points)) <= 1


def test_edges_across_the_whole_axis_are_refused():
    views = synthetic.exact_views(OVAL, synthetic.walking_cameras(), 100, 700, step=5)
    axis = axis_from_points(np.zeros(3), np.array([300.0, 0.0, 0.0]))
    with pytest.raises(ShapeError, match="view-1: The limb's edges are hidden, or do not run along"):
        tangents.usable_edges(views, axis)
