"""A limb's edge that is none is not counted: cut short in too much light, or of the print behind it."""

from types import SimpleNamespace

import numpy as np
import pytest

from digitise.capture.lying.cut import warmer_than
from digitise.capture.outline.lying.beyond import pale_beyond, paper_within
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


@pytest.mark.parametrize("outward", [-1, 1])
def test_a_markers_edge_with_paper_between_it_and_the_limb_does_not_count(outward):
    """A marker's border 4 to 14 mm beyond the limb: over 5 mm, most of the 6 mm within it are paper."""
    skin = np.broadcast_to(np.abs(OFFSETS) < HALF, (len(ROWS), len(OFFSETS)))
    shown, _ = strip(ROWS[:0])
    off = np.interp(ROWS, [100, 200], [4.0, 14.0], left=0.0, right=0.0)
    hidden = paper_within(skin, shown, ROWS, outward * (HALF + off), outward)
    assert hidden[(off > 5.0 + STEP_MM)].all()
    # ten rows beside count as little
    beside = np.convolve(off > 5.0 - STEP_MM, np.ones(21), "same") > 0
    assert not hidden[~beside].any()


@pytest.mark.parametrize("off", [-2.0, 0.0, 2.0])
def test_an_edge_that_is_right_to_its_blur_counts(off):
    skin = np.broadcast_to(np.abs(OFFSETS) < HALF, (len(ROWS), len(OFFSETS)))
    shown, _ = strip(ROWS[:0])
    assert not paper_within(skin, shown, ROWS, np.full(len(ROWS), HALF + off), 1).any()
