"""Edges of a known region traced in a picture that shows nothing: only what was known beforehand speaks."""

from dataclasses import replace

import numpy as np
import pytest
from strips import SIZE, made_strip, photograph, true_region

from digitise.capture.outline.trace import trace_edges
from digitise.capture.surroundings.sticks import nothing_in_front

STRAYS_PX = 13.0  # 10 mm, by which noise alone moves a traced edge off its boundary (seeds tried)


@pytest.mark.parametrize("apart_mm", [45.0, 70.0])
def test_where_steps_of_light_told_another_edge_the_sd_holds_both(rng, apart_mm):
    """Either may be the limb's: each lies within about one sd and a half of the other."""
    made = made_strip(rng)
    pixels = np.clip(rng.normal(120.0, 2.0, (SIZE[1], SIZE[0], 3)), 0, 255).astype(np.uint8)
    region = true_region(made)
    heights = made.strip.heights[region.rows]
    there = (heights > 400.0) & (heights < 600.0)
    steps = region.left.copy()
    steps[there] += apart_mm
    told = replace(region, steps=(steps, region.right))
    left, _ = trace_edges(pixels, made.strip, told, nothing_in_front(), None).outline.edges
    plain, _ = trace_edges(pixels, made.strip, region, nothing_in_front(), None).outline.edges
    assert not left.sure.any()
    inner = there[::-1]
    apart_px = apart_mm / made.strip.pixel_mm()
    least = apart_px / np.sqrt(2) - STRAYS_PX
    assert np.all(left.sd_px[inner] > least)
    assert np.median(plain.sd_px[inner]) < least
    assert np.median(left.sd_px[~inner]) < least


@pytest.mark.parametrize(("share", "told"), [(0.0, True), (0.7, True), (1.0, False)])
def test_beside_a_body_that_hides_one_edge_all_along_the_other_is_not_sure(rng, share, told):
    """What is seen may then be that body and its far edge; where it hides a part, the rest tells the limb."""
    made = made_strip(rng)
    region = true_region(made)
    heights = made.strip.heights[region.rows]
    before = heights > np.quantile(heights[heights > 100.0], 1.0 - share) if share else heights > np.inf
    crossed = replace(region, before=(before | (share == 1.0), np.zeros(len(heights), bool)))
    _, right = trace_edges(photograph(made), made.strip, crossed, nothing_in_front(), None).outline.edges
    assert (right.sure.mean() > 0.8) == told
    assert right.sure.any() == told


@pytest.mark.parametrize(
    ("top_mm", "doubtful_mm", "alone"), [(50.0, 120.0, True), (50.0, 40.0, False), (100.0, 120.0, False)]
)
def test_a_short_run_at_the_top_beyond_a_longer_doubtful_stretch_is_not_sure(rng, top_mm, doubtful_mm, alone):
    """It may as well be what stands behind the limb there; nothing further up tells."""
    made = made_strip(rng)
    region = true_region(made)
    below_top = region_top(made, region) - made.strip.heights[region.rows]
    doubtful = (below_top > top_mm) & (below_top < top_mm + doubtful_mm)
    doubted = replace(region, doubtful=(np.zeros(len(doubtful), bool), doubtful))
    outline = trace_edges(photograph(made), made.strip, doubted, nothing_in_front(), None).outline
    (_, right), heights = outline.edges, outline.heights[1]
    # 20 mm of it lie amid doubtful points, which makes them so
    top = heights > region_top(made, region) - top_mm + 24.0
    assert np.any(right.sure[top]) != alone
    assert right.sure[heights < region_top(made, region) - top_mm - doubtful_mm - 24.0].mean() > 0.8


def region_top(made, region):
    """The height up to which the limb's skin is seen, mm."""
    outline = trace_edges(photograph(made), made.strip, region, nothing_in_front(), None).outline
    return outline.heights[1].max()
