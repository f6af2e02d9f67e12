"""How wide a limb is in a photograph: a cylinder's silhouette in closed form."""

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from strips import CAMERA

from digitise.capture.outline.by_steps.widths import Widths, seen_widths, share_covered, share_within
from digitise.capture.outline.result import Outline
from digitise.geometry.rigid import Pose
from digitise.geometry.view import Edge

DISTANCE_MM = 1600.0
HEIGHTS = np.arange(60.0, 700.0, 2.0)


def cylinder(radius: float, sure=slice(None)) -> Outline:
    """The silhouette of an upright cylinder about the axis: the rays that touch it."""
    at = radius * np.array([np.sqrt(1 - (radius / DISTANCE_MM) ** 2), radius / DISTANCE_MM])
    told = np.zeros(len(HEIGHTS), bool)
    told[sure] = True
    edges = []
    for way in (1, -1):  # the camera looks along -y: what lies at +x is seen on the left
        touched = np.column_stack([np.tile([way * at[0], at[1]], (len(HEIGHTS), 1)), HEIGHTS])
        none = np.zeros(len(HEIGHTS))
        edges.append(
            Edge(CAMERA.project(touched), np.column_stack([none - way, none]), none + 0.5, told, none == 0)
        )
    return Outline((edges[0], edges[1]), (HEIGHTS, HEIGHTS), None)


@given(st.floats(20.0, 150.0))
def test_a_cylinder_is_as_wide_as_its_tangents_cut_the_plane_through_its_axis(radius):
    seen = seen_widths(cylinder(radius), CAMERA, Pose.identity())
    assert seen is not None
    assert seen.heights[0] > 130.0  # below, a foot is wider from one side than from another
    true = 2 * radius / np.sqrt(1 - (radius / DISTANCE_MM) ** 2)
    np.testing.assert_allclose(seen.across, true, rtol=1e-6)


def test_too_few_sure_points_tell_no_width():
    assert seen_widths(cylinder(50.0, slice(100, 120)), CAMERA, Pose.identity()) is None
    assert seen_widths(cylinder(50.0, slice(100, 140)), CAMERA, Pose.identity()) is not None


@given(st.floats(20.0, 150.0), st.floats(0.2, 4.0))
def test_a_limb_is_within_the_widths_of_another_view_unless_it_is_another_body(radius, times):
    widths = Widths(HEIGHTS, np.full(len(HEIGHTS), 2 * radius))
    share = share_within(cylinder(min(times * radius, 300.0)), CAMERA, Pose.identity(), widths)
    # sections of legs and forearms are at most a quarter wider one way than the other
    if 0.8 < times < 1.25:
        assert share == 1.0
    if times < 0.5 or 2.0 < times < 300.0 / radius:
        assert share == 0.0


@given(
    st.lists(st.floats(40.0, 250.0), min_size=2, max_size=8), st.lists(st.floats(-200.0, 1500.0), min_size=1)
)
def test_bounds_hold_the_width_and_widen_away_from_where_it_is_known(across, heights):
    known = np.linspace(100.0, 700.0, len(across))
    least, most = Widths(known, np.array(across)).bounds(np.array(heights)).T
    width = np.interp(heights, known, across)
    assert np.all((least < width) & (width < most))
    ends = Widths(known, np.array(across)).bounds(np.array([700.0, 800.0, 1500.0, 3000.0]))
    ratio = ends[:, 1] / ends[:, 0]
    assert ratio[0] < ratio[1] < ratio[2]
    assert ratio[2] <= ratio[3] < 20.0


@given(st.floats(60.0, 900.0), st.floats(20.0, 700.0))
def test_an_outline_covers_the_share_of_the_known_heights_above_the_foot_that_it_reaches_over(low, length):
    assume(low + length > 140.0)  # of less than 10 mm above the foot nothing is asked
    widths = Widths(np.array([low, low + length]), np.array([100.0, 100.0]))
    known = np.arange(max(low, 130.0), low + length, 0.1)
    true = np.mean((known >= HEIGHTS[0]) & (known <= HEIGHTS[-1])) if len(known) else 0.0
    # in steps of 0.1 mm, of at least the millimetre that such a span is taken for
    np.testing.assert_allclose(
        share_covered(cylinder(50.0), widths), true, atol=0.2 / max(len(known) / 10, 1.0)
    )
