"""A limb sought again by its width: a photograph in which something else was followed."""

import json
from pathlib import Path

import numpy as np
import pytest
from made_visits import measured_visit, true_sections
from scipy.interpolate import CubicSpline
from strips import looking_at

from digitise.capture.outline.find import Outline
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.view import Edge
from digitise.shape.limb import girth, volume
from digitise.tape.rows import TapeRow
from digitise.workflow.seen.again import look_again, tape_may_tell

HOME = Path(__file__).parents[1] / "data"
LENS, SIZE = Lens(1515.0, np.array([749.5, 999.5])), (1500, 2000)
CAMERAS = tuple(
    Camera(LENS, looking_at(eye, (0, 0, 450)), SIZE)
    for eye in ((0, 1600, 450), (1600, 0, 450), (1200, 1200, 450))
)
NAMES = ("front.jpg", "side.jpg", "between.jpg")
AXIS = Pose.identity()
HEIGHTS = np.arange(30.0, 800.0, 2.0)
NOTHING = OutlineError("no limb was found.")


def outline(number: int, width: float, sure: float = 1.0, top: float = 800.0) -> Outline:
    """An outline so wide, up to ``top``, mm, of whose points the lower share ``sure`` is sure."""
    heights = HEIGHTS[top > HEIGHTS]
    camera = CAMERAS[number]
    across = np.cross(camera.centre / np.linalg.norm(camera.centre), [0.0, 0.0, 1.0])
    across /= -np.linalg.norm(across)  # to the right as seen
    told = np.arange(len(heights)) < sure * len(heights)
    edges = []
    for way in (-1, 1):
        points = np.outer(np.ones(len(heights)), way * width / 2 * across) + np.outer(heights, [0, 0, 1])
        none = np.zeros_like(heights)
        edges.append(
            Edge(camera.project(points), np.column_stack([way + none, none]), none + 0.5, told, none == 0)
        )
    return Outline((edges[0], edges[1]), (heights, heights), None)


def again(tried, found, tape=(), free=(0, 1, 2)):
    """What is kept when a second look finds ``found``, and at which photographs it was asked for."""
    asked = []

    def look(n, widths):
        asked.append((n, widths))
        return found

    count = len(tried)
    free = [n for n in free if n < count]
    kept = look_again(tried, NAMES[:count], CAMERAS[:count], AXIS, free, look, tape)
    return kept, asked


def test_what_is_far_too_narrow_for_the_limb_is_sought_by_the_width_seen_elsewhere():
    limb, chair_leg, right = outline(0, 110.0), outline(1, 30.0, 0.4), outline(1, 120.0, 0.3)
    kept, asked = again([limb, chair_leg], right)
    assert kept == [limb, right]
    [(number, widths)] = asked
    assert number == 1
    np.testing.assert_allclose(widths.across, 110.0, atol=1e-6)


@pytest.mark.parametrize("width", [40.0, 240.0])  # a stripe of the limb; both legs together
def test_what_is_no_more_like_it_is_not_taken(width):
    limb, chair_leg = outline(0, 110.0), outline(1, 30.0, 0.4)
    kept, _ = again([limb, chair_leg], outline(1, width, 0.4))
    assert kept == [limb, chair_leg]


def test_nothing_sure_is_not_taken_either():
    limb = outline(0, 110.0)
    kept, _ = again([limb, NOTHING], outline(1, 110.0, 0.0))
    assert kept == [limb, NOTHING]


def test_a_photograph_without_a_limb_is_looked_at_again():
    limb, right = outline(0, 110.0), outline(1, 100.0, 0.5)
    assert again([limb, NOTHING], right)[0] == [limb, right]


def test_an_outline_that_ends_far_below_where_the_limb_is_seen_is_sought_again():
    """As where a hard shadow on the backdrop, or a dressing of its colour, ends it."""
    limb, short, whole = outline(0, 110.0), outline(1, 115.0, 0.9, top=300.0), outline(1, 115.0, 0.4)
    assert again([limb, short], whole)[0] == [limb, whole]
    assert again([limb, short], outline(1, 115.0, 0.4, top=350.0))[0] == [limb, short]
    assert again([limb, outline(1, 115.0, 0.9, top=600.0)], whole)[1] == []


def test_two_photographs_that_agree_are_enough():
    limb, side = outline(0, 110.0), outline(1, 130.0)
    for third in (NOTHING, outline(2, 120.0, 0.1), outline(2, 30.0, 0.1)):
        assert again([limb, side, third], outline(2, 110.0)) == ([limb, side, third], [])


def test_what_a_third_photograph_surely_shows_instead_is_left_out():
    """As the gap between two legs, whose edges are as clear as the limb's."""
    limb, side, gap = outline(0, 110.0), outline(1, 130.0), outline(2, 30.0, 0.7)
    kept, asked = again([limb, side, gap], outline(2, 110.0))
    assert (kept[:2], asked) == ([limb, side], [])
    assert "far narrower or wider than the limb" in kept[2].what
    assert kept[2].where == "between.jpg"
    assert again([limb, side, gap], outline(2, 110.0), free=(0, 1)) == (
        [limb, side, gap],
        [],
    )  # drawn by hand


def test_the_surer_of_two_photographs_tells_the_width():
    """The surer one tells the width; where no limb of it is found in the other, both stay, for the checks."""
    limb, wide = outline(0, 110.0), outline(1, 240.0, 0.9)
    assert again([limb, wide], outline(1, 110.0))[0][0] is limb
    assert again([limb, wide], NOTHING)[0] == [limb, wide]


def test_what_was_drawn_is_left_for_the_checks_to_contradict():
    limb = outline(0, 110.0)
    drawn = outline(1, 30.0, 0.1)
    assert again([limb, drawn], outline(1, 110.0), free=(0,)) == ([limb, drawn], [])


def test_where_no_photograph_surely_shows_it_the_tape_tells_the_width():
    first, second, right = outline(0, 30.0, 0.3), outline(1, 115.0, 0.4), outline(0, 105.0, 0.3)
    tape = [TapeRow(700.0, 110.0 * np.pi), TapeRow(100.0, 110.0 * np.pi)]
    kept, asked = again([first, second], right, tape)
    assert kept == [right, second]
    assert [number for number, _ in asked] == [0]
    assert again([first, second], right, tape[:1])[1] == []
    assert tape_may_tell([first, second], CAMERAS[:2], AXIS)
    assert tape_may_tell([outline(0, 110.0, 0.55), outline(1, 115.0, 0.55)], CAMERAS[:2], AXIS)
    assert not tape_may_tell([outline(0, 110.0), second], CAMERAS[:2], AXIS)


def test_a_tape_that_fits_nothing_changes_nothing():
    first, second = outline(0, 110.0, 0.4), outline(1, 115.0, 0.4)
    inches = [TapeRow(700.0, 110.0 * np.pi / 25.4), TapeRow(100.0, 110.0 * np.pi / 25.4)]
    assert again([first, second], outline(0, 110.0), inches)[0] == [first, second]


def test_a_dark_leg_before_a_brown_panel_and_another_leg_is_measured():
    truth = json.loads((HOME / "truth/own-tone/truth.json").read_text())
    measured = measured_visit(HOME / "samples/own-tone", truth["side"], 100.0, 700.0, same_visit=True)
    height, area, around = true_sections(HOME / "truth/own-tone/truth.json").values()
    low, high = volume(measured.fit.limb, 100.0, 700.0).interval_95
    assert low < CubicSpline(height, area).integrate(100.0, 700.0) / 1000 < high
    inside = (height >= 100.0) & (height <= 700.0)
    off = girth(measured.fit.limb, height[inside]).mean - around[inside]
    assert np.sqrt(np.mean(off**2)) < 4.0  # mm, as for every ordinary picture
