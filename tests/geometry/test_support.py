import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from shapely import Polygon, box
from shapely.affinity import rotate, translate

from digitise.errors import ShapeError
from digitise.geometry import support
from digitise.geometry.rigid import Pose

CIRCLE = 2 * np.pi * np.arange(4096) / 4096

# Perimeters 4 a E(1 - b^2/a^2), double precision (handbook values of the complete elliptic integral).
PERIMETERS = [
    (1, 1, 6.283185307179586),
    (5, 4, 28.361667888974488),
    (3, 2, 15.865439589290588),
    (2, 1, 9.688448220547675),
    (6, 4, 31.730879178581176),
]


def ellipse_coefficients(a, b, harmonics, turn=0.0):
    h = np.hypot(a * np.cos(CIRCLE - turn), b * np.sin(CIRCLE - turn))
    found = support.fourier(CIRCLE, harmonics).T @ h * 2 / len(CIRCLE)
    found[0] /= 2
    return found


@pytest.mark.parametrize(("a", "b", "perimeter"), PERIMETERS)
def test_order_zero_is_the_perimeter(a, b, perimeter):
    # the trapezoid rule on a smooth periodic function is exact to rounding
    assert_allclose(2 * np.pi * ellipse_coefficients(a, b, 1)[0], perimeter, rtol=1e-13)


@pytest.mark.parametrize(("a", "b"), [(1, 1), (5, 4), (3, 2), (6, 4)])
def test_area_of_an_ellipse(a, b):
    # orders above 30 of an axis ratio of 1.5 are below 1e-12
    area = support.area_weights(30) @ ellipse_coefficients(a, b, 30) ** 2
    assert_allclose(area, np.pi * a * b, rtol=1e-12)


@pytest.mark.parametrize("turned", [1, 2, 3])
def test_derivatives_follow_the_terms(turned):
    step = 1e-5
    low, high = (support.fourier(np.array([0.7 + d]), 6, turned - 1) for d in (-step, step))
    # a central difference is good to step^2 k^4 / 6
    assert_allclose((high - low) / (2 * step), support.fourier(np.array([0.7]), 6, turned), atol=1e-6)


@given(ratio=st.floats(1.0, 1.9), turn=st.floats(-3, 3))
def test_overtones_are_an_ellipses(ratio, turn):
    true = ellipse_coefficients(50 * ratio, 50, 6, turn)
    fourth, sixth = support.ellipse_overtones(np.array([np.hypot(true[3], true[4]) / true[0]]))
    # linear interpolation between 400 points of a curve with curvature below 1: 1e-6
    assert_allclose(abs(fourth[0]) * true[0], np.hypot(true[7], true[8]), atol=2e-4)
    assert_allclose(abs(sixth[0]) * true[0], np.hypot(true[11], true[12]), atol=2e-4)


def test_overtones_to_leading_order():
    fourth, sixth = support.ellipse_overtones(np.array([0.02]))
    assert_allclose(fourth, -(0.02**2) / 4, rtol=0.01)
    assert_allclose(sixth, 0.02**3 / 8, rtol=0.02)


def half_plane_section(h):
    """The section by cutting with shapely, tangent line by tangent line."""
    section = box(-500, -500, 500, 500)
    for theta, distance in zip(2 * np.pi * np.arange(len(h)) / len(h), h, strict=True):
        behind = translate(box(-2000, -1000, 0, 1000), distance, 0)
        section = section.intersection(rotate(behind, theta, origin=(0, 0), use_radians=True))
    return section


@pytest.mark.parametrize("third", [0.0, 4.0, 10.0])
def test_nearest_tangents_cut_out_the_section(third):
    # third-order amplitude 10 on radius 50 has h + h'' = 50 - 80: swallowtails that the cut must drop
    theta = 2 * np.pi * np.arange(180) / 180
    h = 50 + third * np.cos(3 * theta)
    index, stretch = support.nearest_tangents(h[None], 3600)
    distance = (h[index] * stretch)[0]
    phi = 2 * np.pi * np.arange(3600) / 3600
    ours = Polygon(distance[:, None] * np.stack([np.cos(phi), np.sin(phi)], axis=1))
    # the rays miss the corners of the polygon by half a step: 1 - cos of 0.05 degrees, times the corner
    assert_allclose(ours.area, half_plane_section(h).area, rtol=2e-4)
    assert_allclose(ours.area, ours.convex_hull.area, rtol=2e-4)


POINTS = st.lists(st.floats(-1000, 1000), min_size=3, max_size=3).map(np.array)


@given(start=POINTS, end=POINTS)
def test_axis_frame_is_rigid_and_along(start, end):
    if np.linalg.norm(end - start) < 1:
        return
    pose = support.axis_from_points(start, end)
    assert_allclose(pose.rotation @ pose.rotation.T, np.eye(3), atol=1e-12)
    assert_allclose(np.linalg.det(pose.rotation), 1)
    assert_allclose(pose.apply(start), np.zeros(3), atol=1e-9)
    assert_allclose(pose.apply(end), [0, 0, np.linalg.norm(end - start)], atol=1e-9)


def test_axis_frame_of_a_standing_limb_is_the_world():
    pose = support.axis_from_points(np.zeros(3), np.array([0.0, 0.0, 800.0]))
    assert_allclose(pose.rotation, Pose.identity().rotation, atol=1e-15)


def test_axis_frame_of_a_limb_along_y_has_z_up():
    pose = support.axis_from_points(np.zeros(3), np.array([0.0, 300.0, 0.0]))
    assert_allclose(pose.rotation[1], [0, 0, 1], atol=1e-15)


@given(start=POINTS, end=POINTS)
def test_points_on_an_axis_give_it_again(start, end):
    if np.linalg.norm(end - start) < 1:
        return
    pose = support.axis_from_points(start, end)
    again = support.axis_from_points(*support.points_on_axis(pose))
    # sides of 100 mm from coordinates up to 1800 mm in double precision, with room for the cross product
    assert_allclose(again.rotation, pose.rotation, atol=1e-9)
    assert_allclose(again.translation, pose.translation, atol=1e-6)


def test_axis_of_one_point_is_refused():
    with pytest.raises(ShapeError, match="same point twice"):
        support.axis_from_points(np.ones(3), np.ones(3))
