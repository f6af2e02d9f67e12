"""A third photograph asked for by name."""

import dataclasses

import numpy as np
import pytest
import synthetic
from output_support import measure
from prior_limbs import draw_limb

from digitise.capture.outline.result import Hidden
from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume
from digitise.workflow.seen.third_photo import direction_words, third_photo

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


def test_it_is_named_with_its_direction_and_what_it_gains(outlines):
    limb, cameras = seen((90.0, 180.0))
    (told,) = third_photo(limb, cameras, outlines)
    share = 100 * 1.96 * volume(limb, *LEVELS).sd / volume(limb, *LEVELS).mean
    assert f"from ±{share:.1f} % to about" in told.text
    assert "half way between the front and the left, the outer side" in told.do
    assert "before any girth" in third_photo(limb, cameras, outlines, taped=False)[0].text


def test_what_hides_an_edge_is_the_reason(outlines):
    limb, cameras = seen((90.0, 180.0))
    part = Hidden("left", 200.0, 300.0, "the other leg or a hand")
    (told,) = third_photo(limb, cameras, [outlines[0], dataclasses.replace(outlines[1], hidden=(part,))])
    assert told.severity == "warning"
    assert "in photograph 2 the left edge is hidden by the other leg or a hand from 200 to 300" in told.text


def test_three_photographs_need_no_third(outlines):
    limb, cameras = seen((90.0, 135.0, 180.0))
    assert third_photo(limb, cameras, outlines) == ()


def test_a_limb_that_lies_is_not_advised(outlines):
    limb, cameras = seen((90.0, 180.0))
    assert third_photo(dataclasses.replace(limb, lying="palm-up"), cameras, outlines) == ()


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
