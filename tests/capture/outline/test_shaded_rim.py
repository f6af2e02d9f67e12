"""A rim in shade beyond the step where it begins: profiles of three flat parts, blurred as a phone does."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from digitise.capture.outline.beside.shaded_rim import shaded_rim

ROWS, AT_PX, RIM_PX = 100, 60.0, 4.0
LIT, SHADE, PANEL = (0.86, 0.72, 0.62), (0.26, 0.19, 0.16), (0.33, 0.32, 0.31)


def made(rng, beyond, colour_blur_px=1.7):
    """Return a photograph of skin, 4 px of ``beyond`` and panel; the edge of that skin and its normals."""
    x = np.arange(120.0)
    parts = np.where((x < AT_PX)[:, None], LIT, np.where((x < AT_PX + RIM_PX)[:, None], beyond, PANEL))
    light = np.tile(parts, (2 * ROWS, 1, 1))
    sharp, soft = gaussian_filter(light, (0, 0.85, 0)), gaussian_filter(light, (0, colour_blur_px, 0))
    brightness = sharp.mean(axis=2, keepdims=True)
    light = brightness * soft / soft.mean(axis=2, keepdims=True) + rng.normal(0, 0.004, light.shape)
    pixels = np.rint(255 * np.clip(light, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    points = np.stack([np.full(ROWS, AT_PX - 0.5), 2.0 * np.arange(ROWS)], axis=1)
    return pixels, points, np.tile([1.0, 0.0], (ROWS, 1))


def test_a_rim_of_skin_in_shade_is_told(rng):
    assert shaded_rim(*made(rng, SHADE)).all()


@pytest.mark.parametrize("beyond", [PANEL, tuple(0.8 * np.array(PANEL)), tuple(0.6 * np.array(PANEL))])
def test_a_plain_edge_and_the_dark_line_of_sharpening_are_none(rng, beyond):
    """The line has the backdrop's own colour, whatever skin bleeds into it."""
    assert not shaded_rim(*made(rng, beyond)).any()


def test_skin_that_grows_darker_evenly_is_none(rng):
    assert not shaded_rim(*made(rng, tuple(0.9 * np.array(LIT)))).any()
