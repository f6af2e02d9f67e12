"""The limb followed up the panel: masks whose runs are known."""

import numpy as np
import pytest
from strips import made_strip

from digitise.capture.outline.track import STANDS_OUT, track
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.backdrop import Panel


@pytest.fixture(scope="module")
def strip():
    return made_strip(np.random.default_rng(7)).strip


def followed(strip, body, inside):
    """Return heights and both boundaries, mm, of what is followed; body and inside are (H, W)."""
    nothing = np.zeros(body.shape, bool)
    distance2 = np.where(body, 5 * STANDS_OUT, 1.0).astype(np.float32)
    rows, first, last = track(strip, Panel(inside, distance2, nothing, nothing, nothing), "photo")
    return strip.heights[rows], strip.offsets[first], strip.offsets[last]


def between(strip, left, right):
    return (strip.offsets[None, :] > left) & (strip.offsets[None, :] < right)


def off(boundary, truth):
    """How far nearly all of a boundary is off, mm; the corners of its ends are rounded."""
    return float(np.quantile(np.abs(boundary - truth), 0.97))


@pytest.mark.parametrize("other", [(25.0, 110.0), (30.0, 95.0)])
def test_where_a_slanting_panel_shows_another_leg_lower_the_limb_is_followed(strip, other):
    """Both stand near the mat's middle, and touch higher up; the limb is nearer, and hidden lowest down."""
    heights = strip.heights[:, None] * np.ones((1, len(strip.offsets)))
    lowest = np.where(strip.offsets < 15.0, 140.0, 110.0)[None, :]
    touching = between(strip, -75.0, other[1]) & (heights > 500.0)
    body = between(strip, -75.0, -5.0) | between(strip, *other) | touching
    found, left, right = followed(strip, body, heights > lowest)
    apart = found < 480.0
    assert found.min() < 150.0
    assert off(left[apart], -75.0) <= 2 * STEP_MM
    assert off(right[apart], -5.0) <= 2 * STEP_MM


def test_a_limb_that_ends_is_followed_to_its_end(strip):
    heights = strip.heights[:, None]
    body = between(strip, -60.0, 60.0) & (heights < 500.0)
    found, _, _ = followed(strip, body, np.broadcast_to(heights > 90.0, body.shape))
    assert abs(found.max() - 500.0) <= 3 * STEP_MM
