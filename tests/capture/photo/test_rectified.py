"""The strip's geometry: there and back, true heights on the axis, the right pixel in every cell."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from strips import looking_at

from digitise.capture.photo.rectified import (
    HALF_WIDTH_MM,
    LOWEST_MM,
    STEP_MM,
    Strip,
    facing_plane,
    rectify,
)
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.support import axis_from_points

SIZE = (750, 1000)
LIMB = [0.0, 0.0, 450.0]


@st.composite
def cameras(draw) -> Camera:
    """Cameras anywhere round the limb, 1.2 to 2.5 m away, high or low, rolled up to 10 degrees."""
    around, far = draw(st.floats(0, 2 * np.pi)), draw(st.floats(1200, 2500))
    eye = [far * np.cos(around), far * np.sin(around), draw(st.floats(100, 1500))]
    lens = Lens(
        draw(st.floats(600, 1100)),
        np.array([draw(st.floats(350, 400)), draw(st.floats(470, 530))]),
        draw(st.floats(-0.1, 0.1)),
        draw(st.floats(-0.1, 0.1)),
    )
    return Camera(lens, looking_at(eye, LIMB, draw(st.floats(-0.17, 0.17))), SIZE)


@st.composite
def axes(draw) -> Pose:
    """Axes from near the mat's middle upwards, up to 17 degrees off the vertical."""
    start = [draw(st.floats(-40, 40)), draw(st.floats(-40, 40)), 0.0]
    end = [draw(st.floats(-200, 200)), draw(st.floats(-200, 200)), 800.0]
    return axis_from_points(np.array(start), np.array(end))


def empty_strip(camera: Camera, axis_from_world: Pose, top: float = 900.0) -> Strip:
    heights = np.arange(top, LOWEST_MM, -STEP_MM)
    offsets = np.arange(-HALF_WIDTH_MM, HALF_WIDTH_MM + 1, STEP_MM)
    return Strip(
        camera, facing_plane(camera, axis_from_world), heights, offsets, np.zeros((0, 0, 3), np.uint8)
    )


@settings(max_examples=40, deadline=None)
@given(cameras(), axes())
def test_plane_to_photograph_and_back(camera, axis):
    strip = empty_strip(camera, axis)
    offsets, heights = np.meshgrid(np.linspace(-200, 200, 5), np.linspace(60, 800, 6))
    back = strip.plane_from_photo(strip.photo_from_plane(offsets, heights))
    # inverting the distortion is exact to rounding; a pixel of 2 mm at 1000 px keeps 1e-9 mm
    np.testing.assert_allclose(back, np.stack([offsets, heights], axis=-1), atol=1e-6)


@settings(max_examples=40, deadline=None)
@given(cameras(), axes(), st.lists(st.floats(30, 850), min_size=1, max_size=5))
def test_points_on_the_axis_have_their_height_and_no_offset(camera, axis, heights):
    on_axis = axis.inverse().apply(np.array([[0.0, 0.0, h] for h in heights]))
    plane = empty_strip(camera, axis).plane_from_world(on_axis)
    np.testing.assert_allclose(plane, [[0.0, h] for h in heights], atol=1e-8)


@settings(max_examples=40, deadline=None)
@given(cameras(), axes(), st.floats(-120, 120), st.floats(-120, 120), st.floats(100, 800))
def test_a_point_anywhere_lands_where_its_picture_is(camera, axis, x, y, z):
    strip = empty_strip(camera, axis)
    point = axis.inverse().apply(np.array([x, y, z]))
    plane = strip.plane_from_world(point)
    np.testing.assert_allclose(strip.photo_from_plane(plane[0], plane[1]), camera.project(point), atol=1e-7)


@settings(max_examples=30, deadline=None)
@given(cameras(), axes())
def test_the_plane_faces_the_camera_and_is_not_mirrored(camera, axis):
    plane = facing_plane(camera, axis)
    np.testing.assert_allclose(plane.rotation.T @ plane.rotation, np.eye(3), atol=1e-12)
    assert np.linalg.det(plane.rotation) == pytest.approx(1.0)
    np.testing.assert_allclose(plane.rotation[:, 1], axis.inverse().rotation[:, 2], atol=1e-12)
    eye = plane.inverse().apply(camera.centre)
    assert eye[2] > 0  # before the plane
    assert eye[0] == pytest.approx(0.0, abs=1e-9)  # straight before the axis
    strip = empty_strip(camera, axis)
    left, right = strip.photo_from_plane(np.array([-50.0, 50.0]), np.full(2, 450.0))
    assert right[0] > left[0]


def test_a_point_behind_the_camera_is_nowhere():
    camera = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1600, 0, 450], LIMB), SIZE)
    strip = empty_strip(camera, Pose.identity())
    assert np.isnan(strip.plane_from_world(np.array([1700.0, 0.0, 450.0]))).all()
    assert np.isfinite(strip.plane_from_world(np.array([1500.0, 0.0, 450.0]))).all()


@pytest.mark.parametrize("axis_top", [(0.0, 0.0), (150.0, -100.0)])
def test_pixel_size_is_distance_over_focal_length(axis_top):
    axis = axis_from_points(np.zeros(3), np.array([*axis_top, 900.0]))
    camera = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1500, 300, 450], LIMB), SIZE)
    strip = empty_strip(camera, axis)
    middle = axis.inverse().apply(np.array([0.0, 0.0, strip.heights[len(strip.heights) // 2]]))
    depth = camera.camera_from_world.apply(middle)[2]
    # the plane faces the camera only sideways and the two ends are 100 mm apart: 1 in 1000
    assert strip.pixel_mm() == pytest.approx(depth / 800.0, rel=1e-3)


def test_cells_are_counted_from_the_upper_left():
    strip = empty_strip(
        Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1500, 0, 450], LIMB), SIZE), Pose.identity()
    )
    at = np.array([[strip.offsets[7], strip.heights[3]], [strip.offsets[0] + 1.0, strip.heights[0] - 3.0]])
    np.testing.assert_allclose(strip.cells(at), [[7, 3], [0.5, 1.5]])


def coded_picture(strip: Strip, size: tuple[int, int]) -> np.ndarray:
    """A photograph of the plane painted with its own coordinates: red by height, green by offset."""
    x, y = np.meshgrid(np.arange(size[0]), np.arange(size[1]))
    plane = strip.plane_from_photo(np.stack([x, y], axis=-1).astype(float))
    red, green = 255 * plane[..., 1] / 1000, 255 * (plane[..., 0] + 400) / 800
    coded = np.stack([red, green, np.full_like(red, 128)], axis=-1)
    return np.clip(np.rint(np.nan_to_num(coded)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("size", [(560, 800), (1500, 2100)], ids=["coarse", "shrunk"])
def test_every_cell_shows_its_own_place(size):
    scale = size[1] / 800
    lens = Lens(600.0 * scale, np.array(size) / 2 - 0.5, 0.05, -0.05)
    camera = Camera(lens, looking_at([1500, 500, 900], LIMB, 0.05), size)
    axis = axis_from_points(np.array([10.0, -5, 0]), np.array([60.0, 30, 900]))
    strip = rectify(coded_picture(empty_strip(camera, axis), size), camera, axis, 880.0)
    assert strip.pixels.shape == (len(strip.heights), len(strip.offsets), 3)
    inner = np.abs(strip.offsets) < 300
    height = strip.pixels[..., 0] * (1000 / 255)
    offset = strip.pixels[..., 1] * (800 / 255) - 400
    # half a grey level is 2 mm of height and 1.6 mm of offset, rounded twice
    assert np.abs(height - strip.heights[:, None])[:, inner].max() < 4.5
    assert np.abs(offset - strip.offsets[None, :])[:, inner].max() < 3.5
    assert abs(np.mean(height[:, inner] - strip.heights[:, None])) < 0.2
    assert abs(np.mean((offset - strip.offsets[None, :])[:, inner])) < 0.2


def test_the_strip_ends_at_its_top():
    camera = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1500, 0, 450], LIMB), SIZE)
    strip = rectify(np.zeros((1000, 750, 3), np.uint8), camera, Pose.identity(), 640.0)
    assert strip.heights[0] == 640.0
    assert LOWEST_MM < strip.heights[-1] <= LOWEST_MM + STEP_MM
    assert strip.offsets[0] == -HALF_WIDTH_MM
    assert strip.offsets[-1] == HALF_WIDTH_MM


def test_the_strip_ends_where_the_picture_ends():
    camera = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1500, 0, 450], LIMB), SIZE)
    strip = rectify(np.zeros((1000, 750, 3), np.uint8), camera, Pose.identity(), 3000.0)
    # half of 999 px at 1500 mm and 800 px focal length
    assert strip.heights[0] == pytest.approx(450 + 499.5 * 1500 / 800, abs=STEP_MM)


@pytest.mark.parametrize(
    ("eye", "target", "top"),
    [([1500, 0, 450], [3000, 0, 450], 900.0), ([1500, 0, 450], LIMB, 40.0), ([1500, 0, 450], LIMB, -500.0)],
    ids=["looks away", "backdrop on the floor", "backdrop below the floor"],
)
def test_a_photograph_that_does_not_show_the_limbs_place_is_refused(eye, target, top):
    camera = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at(eye, target), SIZE)
    with pytest.raises(OutlineError):
        rectify(np.zeros((1000, 750, 3), np.uint8), camera, Pose.identity(), top)


def test_a_photograph_taken_along_the_limb_is_refused():
    above = Camera(Lens(800.0, np.array([374.5, 499.5])), looking_at([1e-9, 0, 2000], [0, 1, 0]), SIZE)
    with pytest.raises(OutlineError):
        rectify(np.zeros((1000, 750, 3), np.uint8), above, Pose.identity(), 900.0)
