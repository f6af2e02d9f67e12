"""A limb of its backdrop's own tone, told by the steps of light at its edges alone."""

import numpy as np
import pytest
from strips import PANEL, SKIN, MadeStrip, limb_sides, made_strip, photograph

from digitise.capture.outline.by_steps.find import (
    find_of_width,
    find_own_tone,
    find_own_tone_of_width,
)
from digitise.capture.outline.by_steps.widths import Widths
from digitise.capture.outline.region import Region
from digitise.capture.surroundings.backdrop import find_panel
from digitise.errors import OutlineError


def own_tone(made: MadeStrip) -> Region:
    return find_own_tone(photograph(made), made.strip, find_panel(made.strip, [made.area]), "photo-1.jpg")


def of_the_panels_tone(made: MadeStrip) -> None:
    """Paint the limb in the panel's colour: a little lighter on one side, darker on the other."""
    x = made.strip.offsets[None, :]
    across = (x - made.left[:, None]) / (made.right - made.left)[:, None]
    shaded = np.array(PANEL) * (1.15 - 0.35 * across)[..., None]
    made.strip.pixels[made.limb] = np.clip(shaded[made.limb], 0, 255).astype(np.uint8)


def test_a_limb_of_the_panels_own_tone_is_told_by_its_edges(rng):
    made = made_strip(rng)
    of_the_panels_tone(made)
    region = own_tone(made)
    heights = made.strip.heights[region.rows]
    chosen = (heights > 130.0) & (heights < 800.0)
    rows = region.rows[chosen]
    off = np.stack([region.left[chosen] - made.left[rows], region.right[chosen] - made.right[rows]])
    # 4 mm cells of the table of steps, and the row's own 2 mm
    assert np.abs(off).max() <= 6.0
    # the panel's colour follows its light within 28 mm, so here and there the limb's lies in it
    assert max(side[chosen].mean() for side in region.touched) < 0.1


def gap_between_bodies(rng, reach_mm: float) -> MadeStrip:
    """A strip of the panel as wide as the limb, between two bodies that reach so far from the axis."""
    made = made_strip(rng)
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    left, right = limb_sides(z[:, 0])
    gap = (x > left[:, None]) & (x < right[:, None]) & (z > 90.0)
    beside = (np.abs(x) < reach_mm) & ~gap & (z > 90.0)
    made.strip.pixels[gap], made.strip.pixels[beside] = PANEL, SKIN
    return made


def test_the_backdrop_seen_between_two_bodies_is_no_limb(rng):
    made = gap_between_bodies(rng, 200.0)
    with pytest.raises(OutlineError, match="no limb was found"):
        own_tone(made)


def test_a_limb_of_another_colour_is_left_to_its_colour(rng):
    with pytest.raises(OutlineError, match="no limb was found"):
        own_tone(made_strip(rng))


WOOD = (112, 74, 45)


def with_a_chair_leg(made: MadeStrip) -> None:
    """Paint beside the limb a chair's leg, which stands out from it and from the panel."""
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    made.strip.pixels[(np.abs(x + 105.0) < 15.0) & (z < 700.0)] = WOOD


def seen_from_aside(made: MadeStrip, times: float) -> Widths:
    """The limb's widths as another photograph shows them: so many times as wide."""
    return Widths(made.strip.heights[::-1], times * (made.right - made.left)[::-1])


@pytest.mark.parametrize("times", [0.85, 1.0, 1.2])
@pytest.mark.parametrize("find", [find_of_width, find_own_tone_of_width])
def test_a_limb_beside_something_clearer_is_told_by_its_width(rng, times, find):
    made = made_strip(rng)
    if find is find_own_tone_of_width:
        of_the_panels_tone(made)
    with_a_chair_leg(made)
    panel = find_panel(made.strip, [made.area])
    region = find(photograph(made), made.strip, panel, "photo-1.jpg", widths=seen_from_aside(made, times))
    heights = made.strip.heights[region.rows]
    chosen = (heights > 130.0) & (heights < 650.0)
    rows = region.rows[chosen]
    off = np.stack([region.left[chosen] - made.left[rows], region.right[chosen] - made.right[rows]])
    # 4 mm cells of the table of steps, and the row's own 2 mm
    assert np.mean(np.abs(off) <= 6.0) > 0.95
    assert region.unsure_mm > 0.0


def test_nothing_so_wide_is_no_limb(rng):
    made = made_strip(rng)
    made.strip.pixels[made.limb] = PANEL
    with pytest.raises(OutlineError, match="no limb was found"):
        find_of_width(
            photograph(made),
            made.strip,
            find_panel(made.strip, [made.area]),
            "photo-1.jpg",
            widths=seen_from_aside(made, 1.0),
        )


def test_backdrop_that_happens_to_be_so_wide_is_no_limb(rng):
    """Between two bodies lies a strip of the panel as wide as the limb: backdrop beyond neither edge."""
    made = gap_between_bodies(rng, 160.0)
    with pytest.raises(OutlineError, match="no limb was found"):
        find_own_tone_of_width(
            photograph(made),
            made.strip,
            find_panel(made.strip, [made.area]),
            "photo-1.jpg",
            widths=seen_from_aside(made, 1.0),
        )
