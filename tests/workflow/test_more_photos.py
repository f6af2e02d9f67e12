"""More photographs asked for by name."""

import dataclasses

import numpy as np
import pytest
import synthetic
from output_support import measure
from prior_limbs import draw_limb

from digitise.capture.outline.result import Hidden
from digitise.shape.checks.next_view import volume_after_turn
from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume
from digitise.workflow.seen.more_photos import direction_words, more_photos

LEVELS = (90.0, 410.0)


def seen(directions):
    views = synthetic.exact_views(
        draw_limb(np.random.default_rng(8)), synthetic.walking_cameras(directions), 65, 435, step=3
    )
    limb = fit_limb(views, side="left", from_mm=LEVELS[0], to_mm=LEVELS[1]).limb
    return limb, [view.camera for view in views]


@pytest.fixture(scope="module")
def outlines():
    return measure().outlines


def test_both_once_more_are_offered_with_what_they_gain(outlines):
    limb, cameras = seen((90.0, 180.0))
    (told,) = more_photos(limb, cameras, outlines)
    now, then = volume(limb, *LEVELS), volume_after_turn(limb, cameras, 45.0)
    shares = [100 * 1.96 * known.sd / now.mean for known in (now, then)]
    assert f"from ±{shares[0]:.1f} % to about ±{shares[1]:.1f} %" in told.text
    assert "by an eighth of a turn" in told.do
    assert told.severity == ("warning" if shares[0] > 2.0 else "note")
    assert "before any girth" in more_photos(limb, cameras, outlines, taped=False)[0].text


def test_what_hides_an_edge_is_the_reason(outlines):
    limb, cameras = seen((90.0, 180.0))
    part = Hidden("left", 200.0, 300.0, "the other leg or a hand")
    (told,) = more_photos(limb, cameras, [outlines[0], dataclasses.replace(outlines[1], hidden=(part,))])
    assert told.severity == "warning"
    assert "in photograph 2 the left edge is hidden by the other leg or a hand from 200 to 300" in told.text
    assert "half way between the front and the left, the outer side" in told.do


def test_three_photographs_need_no_third(outlines):
    limb, cameras = seen((90.0, 135.0, 180.0))
    assert more_photos(limb, cameras, outlines) == ()


def test_a_limb_that_lies_is_not_advised(outlines):
    limb, cameras = seen((90.0, 180.0))
    assert more_photos(dataclasses.replace(limb, lying="palm-up"), cameras, outlines) == ()


@pytest.mark.parametrize(
    ("azimuth", "words"),
    [
        (90.0, "the front"),
        (112.0, "the front"),
        (135.0, "half way between the front and the left, the outer side"),
        (-180.0, "the left, the outer side"),
        (270.0, "the back"),
        (-45.0, "half way between the back and the right, the inner side"),
        (45.0, "half way between the right and the front, the inner side"),
    ],
)
def test_directions_are_those_of_the_person(azimuth, words):
    assert direction_words(azimuth, "left") == words
