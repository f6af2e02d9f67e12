from types import SimpleNamespace

import cv2
import numpy as np
import painted_feet as feet
import pytest
from numpy.testing import assert_array_equal

from digitise.capture.expected.outline import _APART, _HUE_SCALE, INK_LIGHT, Look, _colours, find_body
from digitise.capture.photo.colour import brightness_and_hue
from digitise.geometry.mesh import Mesh
from digitise.shape.statistical.planes import planes_of_view, touch

STEP_MM = 0.9
DARK, INK = np.array([88.0, 56.0, 40.0]), np.array([52.0, 50.0, 51.0])
SEEN_FROM = ("front", "side", "above")


def found(surface, camera, rng, slack=20.0, **colours):
    picture = feet.paint(surface, camera, rng, **colours)
    return find_body(picture, camera, feet.body_of(surface), feet.leg_above(surface), Look(slack, STEP_MM))


def distances(outline, surface, camera):
    """By how much the outline's planes lie outside of the true surface, mm."""
    planes = planes_of_view(camera, outline.edge, 0)
    reached = touch(surface.vertices, surface.prior.edges, planes).reached
    return -reached[np.isfinite(reached)]


@pytest.mark.parametrize("view", range(3), ids=SEEN_FROM)
@pytest.mark.parametrize("side", ["left", "right"])
def test_the_outline_lies_on_the_foot(side, view):
    rng = np.random.default_rng(20 + view)
    surface, camera = feet.random_foot(side, rng), feet.cameras(side)[view]
    off = distances(found(surface, camera, rng), surface, camera)
    # a pixel of the crop is 0.9 mm: its edge is read to a third of that, on the whole to neither side
    assert len(off) > 60
    assert abs(np.median(off)) < 0.3
    assert np.quantile(np.abs(off), 0.9) < 0.9


@pytest.mark.parametrize("view", range(3), ids=SEEN_FROM)
def test_dark_skin_on_ink(view):
    rng = np.random.default_rng(5)
    surface, camera = feet.random_foot("left", rng), feet.cameras("left")[view]
    off = distances(found(surface, camera, rng, skin=DARK, mat=INK), surface, camera)
    assert abs(np.median(off)) < 0.3
    assert np.quantile(np.abs(off), 0.9) < 0.9


def test_another_foot_than_expected_is_found_all_the_same():
    rng = np.random.default_rng(9)
    surface, camera = feet.random_foot("left", rng), feet.cameras("left")[2]
    expected = feet.body_of(surface)
    smaller = Mesh(expected.vertices * [0.9, 0.9, 1.0], expected.faces)
    picture = feet.paint(surface, camera, rng)
    outline = find_body(picture, camera, smaller, feet.leg_above(surface), Look(45.0, STEP_MM))
    off = distances(outline, surface, camera)
    assert np.quantile(np.abs(off), 0.9) < 0.9


def test_the_same_picture_gives_the_same_outline():
    surface, camera = feet.random_foot("right", np.random.default_rng(2)), feet.cameras("right")[2]
    first, second = (found(surface, camera, np.random.default_rng(3)) for _ in range(2))
    assert_array_equal(first.edge.points, second.edge.points)


def test_a_foot_out_of_the_picture_is_none():
    surface = feet.random_foot("left", np.random.default_rng(4))
    away = feet.looking((0, 900, 350), (900, 900, 350))
    assert found(surface, away, np.random.default_rng(1)) is None


def test_where_the_search_ends_nothing_is_seen():
    # a picture of nothing but skin: the edge found is the end of the search alone
    rng = np.random.default_rng(6)
    surface, camera = feet.random_foot("left", rng), feet.cameras("left")[2]
    outline = found(surface, camera, rng, mat=feet.SKIN)
    assert outline is None or np.count_nonzero(outline.edge.seen) < 10


def test_a_sock_is_of_another_hue_than_the_leg():
    rng = np.random.default_rng(12)
    surface, camera = feet.random_foot("left", rng), feet.cameras("left")[1]
    bare = found(surface, camera, rng)
    assert bare.hue_off < 0.05  # one colour and noise
    # light from skin and from white cotton: their ratios of red to green differ by exp(0.3)
    covered = found(surface, camera, rng, sock=np.array([225.0, 224.0, 220.0]))
    assert covered.hue_off > 0.3


def test_hues_are_spread_for_pale_skin_and_kept_for_others():
    def apart(skin):
        pixels = np.full((20, 20, 3), (244, 252, 252), np.uint8)
        pixels[:, 10:] = skin
        labels = np.full((20, 20), cv2.GC_BGD, np.uint8)
        labels[:, 10:] = cv2.GC_FGD
        told = _colours(SimpleNamespace(pixels=pixels), labels).astype(float)
        return np.linalg.norm(told[0, 15, 1:] - told[0, 5, 1:])

    medium = brightness_and_hue(np.array([(184, 130, 92), (244, 252, 252)], np.uint8), INK_LIGHT)[:, 1:]
    # bytes are whole numbers: half of one on either side, of both hues
    assert apart((184, 130, 92)) == pytest.approx(_HUE_SCALE * np.linalg.norm(medium[0] - medium[1]), abs=2.0)
    assert apart((250, 235, 225)) == pytest.approx(_APART, abs=2.0)
