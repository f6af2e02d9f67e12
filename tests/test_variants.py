"""The harder photographs are what they claim: same silhouette, stated colours, the same at every call."""

import cv2
import numpy as np
import pytest
import variants
from conftest import CASES, Case

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def walk() -> Case:
    return Case("walk-light", CASES["walk-light"] / "walk-light")


@pytest.fixture(scope="module")
def apart(walk: Case) -> variants.Scene:
    return variants.scene(walk, 1)


def test_mixing_again_gives_the_photograph(walk, apart):
    original = cv2.imread(str(walk.photos[0]))[..., ::-1]
    error = variants.encoded(apart.mixed()).astype(int) - original
    beyond = ~cv2.dilate(apart.mask.astype(np.uint8), np.ones((9, 9))).astype(bool)
    assert np.abs(error[beyond]).max() == 0
    # sharpening, chroma at half resolution, grain and the last darkening of the limb before its edge are not
    # kept; limb and panel differ by about 90 levels, so 5 over the 6 px wide band is no halo to be seen
    band = (apart.alpha > 0) & (apart.alpha < 1)
    assert abs(float((error[band] @ variants.LUMA).mean())) < 5


def test_edge_of_a_recoloured_limb_lies_on_the_true_outline(apart):
    made = variants.VARIANTS["very-dark-on-black"]
    bright = variants.replace(apart, limb=np.ones_like(apart.limb), back=np.zeros_like(apart.back))
    light = variants.replace(bright, rest=np.ones_like(apart.rest)).mixed()[..., 0]
    rows = np.flatnonzero(apart.mask.any(axis=1))[200:-400]
    # over many rows the quantisation of a pixel mask averages out: widths agree to 0.02 px
    assert abs(light[rows].sum() - apart.mask[rows].sum()) / len(rows) < 0.02
    assert made(apart, np.random.default_rng(0)).mask is apart.mask


@pytest.mark.parametrize("name", sorted(variants.VARIANTS))
def test_every_variant_is_a_picture_of_its_mask(walk, apart, name):
    made = variants.make_variant(walk, 1, name, apart)
    assert made.rgb.dtype == np.uint8
    assert made.rgb.shape == (*made.mask.shape, 3)
    assert made.mask.shape == tuple(round(n * made.scale) for n in apart.mask.shape)
    # halving a mask moves its area by less than the outline's length times a part of a pixel
    assert made.mask.sum() == pytest.approx(apart.mask.sum() * made.scale**2, rel=1e-3)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("very-light", 55, 91), ("light", 41, 55), ("brown", -30, 10), ("very-dark", -91, -30)],
)
def test_skins_have_the_stated_typology_angle(name, low, high):
    pixel = np.array([[variants.SKINS[name]]], np.float32) / 255
    lightness, _, b = cv2.cvtColor(pixel, cv2.COLOR_RGB2LAB)[0, 0]
    assert low < np.degrees(np.arctan2(lightness - 50, b)) < high


def test_dim_noise_is_three_to_four_grey_levels(apart):
    v = np.full((400, 400, 3), 0.2, np.float32)
    dim = variants.encoded(variants._dim(v, np.random.default_rng(1)))
    assert 3 <= dim.std() <= 4


def test_a_variant_is_the_same_at_every_call(walk, apart):
    first, again = (variants.make_variant(walk, 1, "dim", apart).rgb for _ in range(2))
    assert np.array_equal(first, again)
