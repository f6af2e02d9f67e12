"""Hems on made strips: found where cloth begins, and nowhere else."""

import numpy as np
import pytest
from strips import SKIN, limb_sides, made_strip, true_region

from digitise.capture.outline.garment_edge import cloth_round, skin_rows
from digitise.geometry.runs import true_runs

CLOTH = (70, 80, 110)


def hem_of(made) -> tuple[int, float | None]:
    region = true_region(made)
    skin, hem = skin_rows(made.strip, region)
    first = 0 if skin.start is None else skin.start
    assert skin.stop in (None, len(region.rows))
    if hem is not None:
        assert made.strip.heights[region.rows[first]] == hem
    return first, hem


def in_limb(x, z):
    heights = z[:, 0]
    left, right = limb_sides(heights)
    return (x >= left[:, None]) & (x <= right[:, None])


def shaded_skin(x, z):
    """Brightness of a limb lit from the left, with a soft band along the shin."""
    return 1.0 - 0.003 * x + 0.08 * np.exp(-(((x + 15) / 10) ** 2))


@pytest.mark.parametrize("cloth", [CLOTH, (225, 225, 222), (30, 30, 32), (150, 40, 45)])
@pytest.mark.parametrize("height", [620.0, 740.0, 820.0])
def test_a_hem_is_found_where_cloth_begins(rng, cloth, height):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (z > height), cloth)])
    _, hem = hem_of(made)
    # the edge ends a margin of 6 mm below the rim, to a row or two
    assert height - 12 <= hem <= height - 2


def test_a_curved_rim_counts_from_its_lowest_part_on(rng):
    def cloth(x, z):
        return in_limb(x, z) & (z > 700 + 8 * (x / 50) ** 2)

    made = made_strip(rng, edits=[(cloth, CLOTH)])
    _, hem = hem_of(made)
    assert 685 <= hem <= 702


@pytest.mark.parametrize("skin", [SKIN, (232, 206, 192), (72, 49, 39)])
def test_bare_skin_has_no_hem(rng, skin):
    made = made_strip(rng, skin=skin)
    assert hem_of(made) == (0, None)


def test_a_patch_that_leaves_skin_beside_it_is_no_hem(rng):
    def dressing(x, z):
        return in_limb(x, z) & (x > -5) & (np.abs(z - 600) < 40)

    made = made_strip(rng, edits=[(dressing, (235, 235, 230))])
    assert hem_of(made) == (0, None)


def test_slow_changes_along_the_limb_are_no_hem(rng):
    made = made_strip(rng)
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    fade = (1.0 - 0.4 * (z - 20) / 880) * shaded_skin(x, z)
    pixels = made.strip.pixels * np.where(made.limb, fade, 1.0)[..., None]
    made.strip.pixels[...] = np.clip(pixels, 0, 255).astype(np.uint8)
    assert hem_of(made) == (0, None)


def test_a_hem_is_found_under_uneven_light(rng):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (z > 760), CLOTH)])
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    pixels = made.strip.pixels * np.where(made.limb, shaded_skin(x, z), 1.0)[..., None]
    made.strip.pixels[...] = np.clip(pixels, 0, 255).astype(np.uint8)
    _, hem = hem_of(made)
    assert 748 <= hem <= 758


def test_a_sock_below_the_middle_is_not_taken_for_a_hem(rng):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (z < 250), (235, 235, 235))])
    assert hem_of(made) == (0, None)


def cloth_of(made, top: int = 0) -> list[tuple[float, float]]:
    """Between which heights cloth goes round, from the lowest up, mm."""
    region = true_region(made)
    heights = made.strip.heights[region.rows]
    return [
        (heights[last - 1], heights[first]) for first, last in true_runs(cloth_round(made.strip, region, top))
    ][::-1]


# the margin of 6 mm and a row or two
@pytest.mark.parametrize("colour", [CLOTH, (40, 40, 60), (235, 235, 235), (120, 130, 60)])
def test_a_sock_goes_round_up_to_its_rim(rng, colour):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (z < 250), colour)])
    ((_, top),) = cloth_of(made)
    assert 250 <= top <= 262


def test_a_bandage_goes_round_between_its_rims_and_skin_goes_on_below(rng):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (np.abs(z - 280) < 60), (235, 235, 235))])
    ((low, top),) = cloth_of(made)
    assert 208 <= low <= 220
    assert 340 <= top <= 352


@pytest.mark.parametrize("skin", [SKIN, (232, 206, 192), (72, 49, 39)])
def test_round_bare_skin_there_is_no_cloth(rng, skin):
    assert cloth_of(made_strip(rng, skin=skin)) == []


@pytest.mark.parametrize("light", [0.35, 0.6])
def test_shade_below_a_lobe_is_no_cloth(rng, light):
    """A straight shadow right across: the skin is darker, of the same hue."""
    made = made_strip(rng)
    _, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    pixels = made.strip.pixels * np.where(made.limb & (z < 300), light, 1.0)[..., None]
    made.strip.pixels[...] = np.clip(pixels, 0, 255).astype(np.uint8)
    assert cloth_of(made) == []


@pytest.mark.parametrize("hem", [840.0, 700.0, 560.0])
def test_below_a_hem_that_was_passed_over_the_limb_is_no_cloth(rng, hem):
    made = made_strip(rng, edits=[(lambda x, z: in_limb(x, z) & (z > hem), CLOTH)])
    assert cloth_of(made) == []
