"""A limb in so much light that its rim is nearly as white as the sheet: what was cut short is not counted."""

from types import SimpleNamespace

import numpy as np
import pytest

from digitise.capture.lying.cut import warmer_than
from digitise.capture.outline.lying.beyond import pale_beyond
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import STEP_MM

# as a photo-real leg on a white sheet showed them in hard light
SHEET, RIM, SKIN, SHADE = (245, 244, 240), (252, 248, 237), (221, 190, 169), (94, 75, 60)
OFFSETS = np.arange(-200.0, 200.0, STEP_MM)
ROWS = np.arange(300)
HALF, RIM_MM = 50.0, 14.0


def strip(rim_rows):
    """A limb 100 mm wide in the shade, on some rows with a rim in full light on its right."""
    pixels = np.empty((len(ROWS), len(OFFSETS), 3), np.uint8)
    pixels[:] = SHEET
    pixels[:, np.abs(OFFSETS) < HALF] = SHADE
    lit = (OFFSETS >= HALF - RIM_MM) & (OFFSETS < HALF)
    pixels[np.ix_(rim_rows, lit)] = RIM
    noisy = pixels + np.random.default_rng(0).normal(0.0, 1.5, pixels.shape)
    shown = SimpleNamespace(pixels=np.clip(noisy, 0, 255).astype(np.uint8), offsets=OFFSETS)
    return shown, SimpleNamespace(inside=np.ones(pixels.shape[:2], bool))


@pytest.mark.parametrize(("colour", "warmer"), [(RIM, True), (SKIN, True), (SHEET, False), (SHADE, False)])
def test_bright_skin_is_warmer_than_the_sheet(colour, warmer):
    values = brightness_and_hue(np.array([[colour]], np.uint8))
    sheet = brightness_and_hue(np.array([[SHEET]], np.uint8))[0, 0, 1:]
    assert warmer_than(values, sheet)[0, 0] == warmer


def test_where_the_rim_was_left_out_the_edge_does_not_count():
    some = np.arange(100, 140)
    edge = np.full(len(ROWS), HALF)
    edge[some] -= RIM_MM
    hidden = pale_beyond(*strip(some), ROWS, edge, 1)
    assert hidden[some].all()
    # 10 rows beside, and the half of a median's nine
    assert not hidden[:85].any()
    assert not hidden[155:].any()


def test_where_much_of_it_was_left_out_none_of_the_edge_counts():
    some = np.arange(100, 160)
    edge = np.full(len(ROWS), HALF)
    edge[some] -= RIM_MM
    assert pale_beyond(*strip(some), ROWS, edge, 1).all()


def test_an_edge_that_follows_the_skin_counts():
    shown = strip(np.arange(100, 160))
    assert not pale_beyond(*shown, ROWS, np.full(len(ROWS), HALF), 1).any()
    assert not pale_beyond(*shown, ROWS, np.full(len(ROWS), -HALF), -1).any()
