"""A sliver of another leg beside the limb: found along made edges whose second one is known."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from digitise.capture.outline.beside.beyond_ends import unsteadiness
from digitise.capture.outline.beside.double_edge import second_edge
from digitise.capture.outline.beside.narrow_band import narrow_band

PIXEL_MM = 0.5
ROWS = 300  # 2 mm apart: 600 mm of a limb
SKIN, PANEL = np.array([205.0, 170.0, 146.0]), np.array([120.0, 150.0, 125.0])
AT_PX = 160.0  # column of the outer edge
RADIUS_PX = 120.0


def made(rng, depth_mm, *, gain=1.25, grain=3.0, shadow_px=0.0, panel=PANEL):
    """Return a photograph, its outer edge (n, 2) px and normals: right of it panel, left of it skin.

    Parameters
    ----------
    depth_mm
        (n,) how wide a sliver of another leg shows; nothing where it is zero.
    gain
        Its light over the limb's; 0.75 is what the limb's own rim sends back, beside which nothing shows.
    grain
        Standard deviation of the grain of skin, grey levels.
    shadow_px
        Width of the soft border of a shadow that falls on the limb's flank 8 mm within the edge; 0 without.
    panel
        Its sRGB.
    """
    y = np.arange(ROWS * 2 / PIXEL_MM)
    x = np.arange(240.0)[None, :]
    rim = AT_PX - np.interp(y * PIXEL_MM / 2, np.arange(ROWS), depth_mm)[:, None] / PIXEL_MM

    def shade(inside):  # a round body's: the cosine of the angle by which it turns away
        return 0.6 + 0.4 * np.sqrt(1 - np.clip(1 - inside / RADIUS_PX, 0, 1) ** 2)

    limb = shade(np.maximum(rim - x, 0))[..., None] * SKIN
    other = gain * shade(np.maximum(AT_PX - x, 0))[..., None] * SKIN
    picture = np.where((x < rim)[..., None], limb, np.where((x < AT_PX)[..., None], other, panel))
    if shadow_px:
        lit = np.clip((AT_PX - x - 8.0 / PIXEL_MM) / shadow_px + 0.5, 0, 1)
        picture = np.where((x < AT_PX)[..., None], (0.6 + 0.4 * lit)[..., None] * picture, picture)
    noise = gaussian_filter(rng.normal(0, 1, picture.shape), (0.7, 0.7, 0)) * 2.5 * grain
    picture = gaussian_filter(picture, (0.85, 0.85, 0)) + noise
    points = np.stack([np.full(ROWS, AT_PX - 0.5), np.arange(ROWS) * 2 / PIXEL_MM], axis=1)
    normals = np.tile([1.0, 0.0], (ROWS, 1))
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8), points, normals


def seen(rng, depth_mm, **how):
    return second_edge(*made(rng, depth_mm, **how), PIXEL_MM, np.zeros(ROWS, bool))


SD_PX = 2.5  # which an outline gives to points on a second edge


@pytest.mark.parametrize(("first", "last"), [(9.0, 9.0), (5.0, 12.0), (14.0, 7.0)])
def test_a_sliver_beside_the_whole_limb_is_found(rng, first, last):
    """It may run beside the edge from end to end, so that no row tells what plain skin shows."""
    depth_mm = np.linspace(first, last, ROWS)
    found = seen(rng, depth_mm, gain=1.25)
    there = found.depth_px > 0
    assert there.mean() > 0.9
    assert np.all(found.sd_px[there] == SD_PX)
    assert np.abs(found.depth_px - depth_mm / PIXEL_MM)[there].max() < SD_PX


@pytest.mark.parametrize("depth_mm", [7.0, 12.0])
def test_what_is_darker_outside_may_be_a_shadow_on_the_limb(rng, depth_mm):
    found = seen(rng, np.full(ROWS, depth_mm), gain=0.6)
    there = found.depth_px > 0
    assert there.mean() > 0.9
    # either end, the limb's or the shadow's, is within one sd, but for the line's own
    for truth in (0.0, depth_mm / PIXEL_MM):
        assert np.all(np.abs(found.depth_px - truth)[there] < found.sd_px[there] + SD_PX)


def test_a_faint_sliver_is_found_by_its_length(rng):
    depth_mm = np.full(ROWS, 8.0)
    assert (seen(rng, depth_mm, gain=0.95, grain=5.0).depth_px > 0).mean() > 0.7


def test_a_sliver_that_comes_out_is_found_and_its_end_is_unsure(rng):
    depth_mm = np.concatenate([np.linspace(14.0, 0.0, ROWS // 2), np.zeros(ROWS - ROWS // 2)])
    found = seen(rng, depth_mm)
    # nearer than 5 px the two are one line
    blurred = (depth_mm > 1.0) & (depth_mm < 2.5)
    assert np.all(found.near | (found.depth_px > 0) | ~blurred)
    assert (found.depth_px > 0)[depth_mm > 4.0].mean() > 0.9


def test_where_a_long_sliver_comes_out_again_too_narrow_to_tell_the_edge_is_unsure(rng):
    """Two calves, one behind the other: 2 mm of the further one show, which a rim does not tell."""
    rows = [0, 90, 110, 125, 160, 200, ROWS]
    depth_mm = np.interp(np.arange(ROWS), rows, [0.0, 0.0, 2.0, 0.0, 0.0, 8.0, 10.0])
    found = seen(rng, depth_mm, gain=0.9)
    assert (found.depth_px > 0)[220:].mean() > 0.9
    assert np.all((found.near | (found.depth_px > 0))[depth_mm > 1.0])


def test_beyond_a_sliver_that_is_lost_at_its_full_width_the_edge_may_be_the_other_legs(rng):
    """From the 100th row up the other leg is as bright as the limb: its 15 mm do not show, but are there."""
    lost_at, wide = 100, np.full(ROWS, 15.0)
    picture, points, normals = made(rng, wide)
    plain, *_ = made(rng, np.zeros(ROWS))
    cut = round(lost_at * 2 / PIXEL_MM)
    picture[:cut] = plain[:cut]
    found = second_edge(picture, points, normals, PIXEL_MM, np.zeros(ROWS, bool))
    beyond = slice(lost_at - 12)  # lines of 24 mm on either side of it still show the sliver
    assert np.all(found.near[beyond])
    # as far off as the sliver was wide, to the 5 px within which a line is told
    assert np.all(np.abs(found.sd_px[beyond] - wide[0] / PIXEL_MM) < 5.0)


@pytest.mark.parametrize("grain", [2.0, 6.0])
def test_skin_alone_has_no_second_edge(rng, grain):
    found = seen(rng, np.zeros(ROWS), grain=grain)
    assert not found.near.any()
    assert not (found.depth_px > 0).any()


@pytest.mark.parametrize("width_px", [7.0, 20.0])
def test_a_soft_shadow_on_the_flank_is_no_second_edge(rng, width_px):
    """Nor the end of gloss: where light changes evenly over 7 px, 0.57 of it does so within 4.

    At the usual blur of 0.85 px a body's end leaves 0.98 there.
    """
    found = seen(rng, np.zeros(ROWS), shadow_px=width_px)
    assert not (found.depth_px > 0).any()
    assert not found.near.any()


@pytest.mark.parametrize("blur_px", [1.0, 2.0])
def test_a_sliver_is_found_in_a_blurred_picture(rng, blur_px):
    picture, points, normals = made(rng, np.full(ROWS, 12.0), gain=0.6)
    blurred = gaussian_filter(picture.astype(float), (blur_px, blur_px, 0))
    whole = float(np.hypot(0.85, blur_px))  # the made picture's own blur as well
    dim = np.rint(blurred).astype(np.uint8)
    found = second_edge(dim, points, normals, PIXEL_MM, np.zeros(ROWS, bool), whole)
    assert (found.depth_px > 0).mean() > 0.9


@pytest.mark.parametrize(("width_mm", "light", "banded"), [(2.0, 1.0, True), (0.0, 1.35, False)])
def test_a_band_too_narrow_to_tell_is_not_passed_over(rng, width_mm, light, banded):
    """Two millimetres of a darker leg before a panel; not the shade of a rim before a bright panel."""
    picture = made(rng, np.full(ROWS, width_mm), gain=0.75, panel=light * PANEL)
    found = narrow_band(*picture)
    assert found.mean() > 0.9 if banded else not found.any()


@pytest.mark.parametrize("light", [0.16, 0.05, 0.02])
@pytest.mark.parametrize("seed", range(6))
def test_noise_where_very_dark_skin_has_least_light_is_no_second_edge(seed, light):
    """Light falls to a fifth along the limb; noise by itself is as great everywhere."""
    rng = np.random.default_rng(seed)
    picture, points, normals = made(rng, np.zeros(ROWS), grain=0.0)
    linear = (picture / 255.0) ** 2.2
    falling = np.linspace(1.0, 0.2, len(picture))[:, None, None]
    skin = np.arange(picture.shape[1])[None, :, None] < AT_PX
    linear = np.where(skin, linear * light * falling, linear)
    noise = gaussian_filter(rng.normal(0.0, 1.0, linear.shape), (0.7, 0.7, 0)) * 2.5 * 0.004
    dark = 255.0 * np.clip(linear + noise, 0.0, 1.0) ** (1 / 2.2)
    found = second_edge(np.rint(dark).astype(np.uint8), points, normals, PIXEL_MM, np.zeros(ROWS, bool))
    assert not (found.depth_px > 0).any()


@pytest.mark.parametrize("slope", [0.0, 0.1, -0.4])
def test_a_line_that_slants_is_steady(slope):
    """As steeply as lines are sought: 0.4 mm across per mm along, 1.6 px a row of 2 mm."""
    assert unsteadiness(10.0 + slope * 2.0 / PIXEL_MM * np.arange(100)) < 0.05  # but for its ends


def test_what_lies_anywhere_is_unsteady(rng):
    """Of places within 40 px some 15 % lie within 3 px of any place, and one in eleven is the median."""
    assert unsteadiness(rng.uniform(5.0, 45.0, 2000)) == pytest.approx(1 - 0.15 - 1 / 11, abs=0.05)


def test_a_line_that_is_off_for_one_row_in_ten_is_unsteady_by_as_much():
    deep = np.full(100, 20.0)
    deep[5::10] += 8.0
    assert unsteadiness(deep) == pytest.approx(0.1)
