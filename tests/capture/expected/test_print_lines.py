"""An outline along the sheets' own print, with paper within it, is the print's."""

import cv2
import numpy as np
import painted_feet as feet
import pytest
from numpy.testing import assert_array_equal

from digitise.capture.expected.outline import Look, find_body
from digitise.capture.expected.print_lines import along_print, print_of, with_beside
from digitise.capture.sheets.field import Board
from digitise.geometry.rigid import Pose

# seen from right above at 700 mm: a pixel is 0.5 mm, image x is the world's x or its opposite
CAMERA = feet.looking((0.0, 1.0, 700.0), (0.0, 0.0, 0.0))
MM = 700.0 / feet.FOCAL_PX
MARKER = np.array([[20.0, 60.0], [60.0, 60.0], [60.0, 20.0], [20.0, 20.0]])
BOARD = Board("mat", "mat", np.array([297.0, 210.0]), (7,), MARKER[None])
PRINT = print_of([(BOARD, Pose.identity())])


def at(points, ways):
    """Points on the mat and which way the outline looks there, as (N, 2) pixels and unit normals."""
    flat = np.column_stack([points, np.zeros(len(points))])
    pixels = CAMERA.project(flat)
    ahead = CAMERA.project(flat + np.column_stack([ways, np.zeros(len(ways))])) - pixels
    return pixels, ahead / np.linalg.norm(ahead, axis=1, keepdims=True)


def on(points, ways):
    return along_print(*at(np.array(points, float), np.array(ways, float)), CAMERA, PRINT, MM)


@pytest.mark.parametrize("off", [-1.5, 0.0, 1.5])
def test_along_a_markers_border_and_the_pages(off):
    points = [[20.0 + off, 40.0], [40.0, 60.0 + off], [-148.5 + off, 0.0], [0.0, 105.0 + off]]
    assert on(points, [[-1, 0], [0, 1], [-1, 0], [0, 1]]).all()


def test_across_it_or_far_from_it_is_the_bodys():
    # towards a border at a right angle, at 45 degrees; 4 mm beside it; far from any
    points = [[17.0, 40.0], [20.0, 40.0], [16.0, 40.0], [-60.0, 0.0]]
    assert not on(points, [[0, 1], [0.7, 0.7], [-1, 0], [-1, 0]]).any()


def test_within_a_marker_the_cells_have_borders_anywhere():
    points = [[37.0, 43.0], [37.0, 43.0], [37.0, 43.0]]
    assert_array_equal(on(points, [[1, 0], [0, -1], [0.7, 0.7]]), [True, True, False])


def test_nothing_is_known_without_sheets():
    nothing = along_print(*at(np.array([[20.0, 40.0]]), np.array([[1.0, 0.0]])), CAMERA, print_of([]), MM)
    assert not nothing.any()


def test_what_is_beside_is_in_doubt_round_a_closed_line():
    which = np.zeros(20, bool)
    which[1] = True
    assert_array_equal(np.flatnonzero(with_beside(which)), [0, 1, 2, 3, 4, 18, 19])


WHITE, PAPER, INK = np.array([248.0, 246.0, 242.0]), np.array([248.0, 247.0, 246.0]), (40, 40, 42)


@pytest.fixture(scope="module")
def white_foot():
    """From above: a foot as white as its page, and a marker 8 mm beside the ball."""
    rng = np.random.default_rng(8)
    surface, camera = feet.random_foot("left", rng), feet.cameras("left")[2]
    vertices = surface.vertices
    low = vertices[vertices[:, 2] < 60.0]
    beside = low[np.abs(low[:, 1] - 60.0) < 30.0]
    first = beside[:, 0].max() + 8.0
    corners = np.array([[first, 95.0], [first + 40.0, 95.0], [first + 40.0, 25.0], [first, 25.0]])
    board = Board("mat", "mat", np.array([420.0, 420.0]), (7,), corners[None])
    bare = feet.paint(surface, camera, np.random.default_rng(0), skin=WHITE, mat=PAPER)
    shape = feet.paint(surface, camera, np.random.default_rng(0), skin=np.zeros(3), mat=np.full(3, 255.0))
    square = np.zeros(bare.shape[:2], np.uint8)
    ring = camera.project(np.column_stack([corners, np.zeros(4)]))
    cv2.fillConvexPoly(square, np.round(ring).astype(np.int32), 1)
    bare[(square > 0) & (shape[..., 0] > 128)] = INK
    return surface, camera, bare, print_of([(board, Pose.identity())]), first


def on_the_border(white_foot, known) -> int:
    """How many points of the outline are seen that lie at the marker's near border."""
    surface, camera, picture, _, first = white_foot
    look = Look(15.0, 1.0)
    found = find_body(picture, camera, feet.body_of(surface), feet.leg_above(surface), look, known)
    rays = camera.rays(found.edge.points[found.edge.seen])
    ground = camera.centre - camera.centre[2] / rays[:, 2:] * rays
    return int(np.sum((np.abs(ground[:, 0] - first) < 2.0) & (ground[:, 1] > 30.0) & (ground[:, 1] < 90.0)))


def test_where_paper_was_taken_for_skin_the_markers_edge_is_not_seen(white_foot):
    # 60 mm of the border, a point every 3.6 mm: where most of it was followed, none of that counts
    assert on_the_border(white_foot, None) > 8
    assert on_the_border(white_foot, white_foot[3]) == 0
