"""An edge refined to a part of a pixel in pictures of a known curve, straight and at the lip of a lobe."""

import cv2
import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from digitise.capture.outline.sub_pixel.edge import sub_pixel_edge

BLUR_PX = 0.8
ROW_PX = 5.0  # a strip's rows of 2 mm in a picture of 12 megapixels
SKIN, PANEL, NOISE = 70.0, 190.0, 2.0
# what point spread and tone curve leave unknown (0.25) and a lip's rounding by the smoothing that is left
WITHIN_PX = 0.5


def lobe(y, out_px, lip_px):
    """Return x (px) of an edge that grows out slowly and turns back within a lip: two logistic steps."""
    return 200.0 + out_px * (1 / (1 + np.exp(-(y - 180.0) / 45.0)) - 1 / (1 + np.exp(-(y - 420.0) / lip_px)))


def picture(rng, out_px, lip_px):
    """Return the picture of a limb left of the edge; each pixel holds what part of it the limb covers."""
    fine = (np.arange(600 * 8) + 0.5) / 8 - 0.5
    covered = np.clip(lobe(fine, out_px, lip_px)[:, None] - np.arange(500) + 0.5, 0.0, 1.0)
    share = cv2.GaussianBlur(covered.reshape(600, 8, 500).mean(axis=1), (0, 0), BLUR_PX)
    linear = (SKIN / 255) ** 2.2 * share + (PANEL / 255) ** 2.2 * (1 - share)
    grey = 255 * linear ** (1 / 2.2) + rng.normal(0.0, NOISE, share.shape)
    return np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)


def off_edge(points, out_px, lip_px):
    """Return how far points (n, 2) lie from the curve, px."""
    y = np.arange(0.0, 600.0, 0.05)
    curve = np.column_stack([lobe(y, out_px, lip_px), y])
    return np.array([np.min(np.linalg.norm(curve - point, axis=1)) for point in points])


# the sharpest bends lie where the slope is some two thirds of the lip's: their radii are about 150 and 49 px
@pytest.mark.parametrize(("out_px", "lip_px"), [(0.0, 10.0), (25.0, 10.0), (60.0, 10.0)])
def test_an_edge_is_found_where_it_bends_as_where_it_is_straight(rng, out_px, lip_px):
    """Started, as a strip's rows are, from a boundary whose corners were cut."""
    y = np.arange(40.0, 560.0, ROW_PX)
    rough = np.column_stack([gaussian_filter1d(lobe(y, out_px, lip_px), 3.0), y])
    edge = sub_pixel_edge(picture(rng, out_px, lip_px), rough, 1, BLUR_PX, np.zeros(len(y), bool))
    assert len(edge.points) == len(y)
    assert edge.sure.mean() > 0.95
    assert off_edge(edge.points[edge.sure], out_px, lip_px).max() < WITHIN_PX


@pytest.mark.parametrize("out_px", [0.0, 60.0])
def test_rows_come_back_in_their_order(rng, out_px):
    """More points are read along a lip, but one is returned a row, from the top down."""
    y = np.arange(40.0, 560.0, ROW_PX)
    rough = np.column_stack([lobe(y, out_px, 10.0), y])
    edge = sub_pixel_edge(picture(rng, out_px, 10.0), rough, 1, BLUR_PX, np.zeros(len(y), bool))
    assert np.all(np.diff(edge.points[:, 1]) > 0.0)
    inner = slice(16, -16)  # smoothing draws the ends in, along the edge
    assert np.max(np.abs(edge.points[inner, 1] - y[inner])) < 2 * ROW_PX


def test_a_lip_too_sharp_for_it_is_not_sure(rng):
    """Of 36 px radius and reached aslant, part of it lies beside what is looked at."""
    y = np.arange(40.0, 560.0, ROW_PX)
    rough = np.column_stack([gaussian_filter1d(lobe(y, 60.0, 7.0), 3.0), y])
    edge = sub_pixel_edge(picture(rng, 60.0, 7.0), rough, 1, BLUR_PX, np.zeros(len(y), bool))
    off = off_edge(edge.points, 60.0, 7.0)
    assert off[edge.sure].max() < WITHIN_PX
    assert np.all(off < 3 * edge.sd_px)
