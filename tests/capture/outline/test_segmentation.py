"""The limb's region on made strips: boundaries to a cell, other bodies kept out, brush strokes obeyed."""

import numpy as np
import pytest
from strips import PANEL, SKIN, limb_sides, made_strip, panel_area, photograph

from digitise.capture.outline.region import Region
from digitise.capture.outline.segmentation import find_region
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.backdrop import Panel, find_panel
from digitise.errors import OutlineError

ANKLE_MM = 110.0  # the panel begins at 90; the floor shows below


def region_of(made, painted=None) -> Region:
    return find_region(
        photograph(made), made.strip, find_panel(made.strip, [made.area]), "photo-1.jpg", painted
    )


def errors(made, region: Region, low=ANKLE_MM, high=860.0) -> np.ndarray:
    """Left and right boundary less the truth between two heights: (2, n) mm."""
    heights = made.strip.heights[region.rows]
    chosen = (heights > low) & (heights < high)
    rows = region.rows[chosen]
    return np.stack([region.left[chosen] - made.left[rows], region.right[chosen] - made.right[rows]])


def test_boundaries_lie_within_a_cell(rng):
    made = made_strip(rng)
    region = region_of(made)
    np.testing.assert_array_equal(np.diff(region.rows), 1)
    off = errors(made, region)
    # a boundary between two cells of 2 mm is at most one off, and half a cell or so on average
    assert np.abs(off).max() <= STEP_MM
    assert np.abs(off).mean() < 0.5 * STEP_MM
    assert not any(doubt[made.strip.heights[region.rows] > ANKLE_MM].any() for doubt in region.doubtful)


@pytest.mark.parametrize("skin", [(232, 206, 192), SKIN, (150, 106, 80), (72, 49, 39)])
@pytest.mark.parametrize("panel", [PANEL, (236, 236, 236), (45, 85, 165)])
def test_boundaries_for_every_skin_and_panel(rng, skin, panel):
    made = made_strip(rng, skin=skin, panel=panel)
    # the blurred cells on an edge look like neither, so the boundary may lie on either side of them
    off = np.abs(errors(made, region_of(made)))
    assert off.max() <= 2 * STEP_MM
    assert off.mean() < STEP_MM


def test_the_boundary_goes_on_below_the_panel(rng):
    made = made_strip(rng)
    region = region_of(made)
    assert made.strip.heights[region.rows[-1]] < 25
    # beside a floor the region is rougher: the step in the photograph tells the rest
    assert np.median(np.abs(errors(made, region, 45.0, 90.0))) <= 2 * STEP_MM


def test_a_shadow_is_no_limb(rng):
    def shadow(x, z):
        return 1.0 - 0.35 * np.exp(-(((x - 110) / 40) ** 2)) * (z > 90)

    made = made_strip(rng, light=shadow)
    assert np.abs(errors(made, region_of(made))).max() <= 2 * STEP_MM


def test_another_leg_beside_is_kept_out(rng):
    made = made_strip(rng, edits=[(lambda x, _: np.abs(x - 170) < 45, (190, 144, 116))])
    assert np.abs(errors(made, region_of(made))).max() <= 2 * STEP_MM


def test_a_leg_that_touches_above_is_cut_off_where_it_joins(rng):
    made = made_strip(rng, edits=[(lambda x, z: (z > 500) & (x > 0) & (x < 190), (190, 144, 116))])
    off = errors(made, region_of(made), high=480.0)
    assert np.abs(off).max() <= 2 * STEP_MM
    region = region_of(made)
    heights = made.strip.heights[region.rows]
    # above, the right boundary does not run away to the other leg's far side
    assert region.right[(heights > 520) & (heights < 560)].max() < 130.0
    assert np.abs(errors(made, region, 520.0)[0]).max() <= 2 * STEP_MM


@pytest.mark.parametrize("kind", ["limb", "background"])
def test_strokes_outvote_the_colours(rng, kind):
    """A patch of the panel's colour is painted limb; a skin-coloured thing at the edge is painted away."""
    if kind == "limb":

        def patch(x, z):
            return (x > 30) & (x < 72) & (np.abs(z - 400) < 80)

        made = made_strip(rng, edits=[(patch, PANEL)])
    else:

        def patch(x, z):
            return (x > 64) & (x < 100) & (np.abs(z - 400) < 80)

        made = made_strip(rng, edits=[(patch, SKIN)])
    rows = made.strip.heights
    wrong = np.abs(errors(made, region_of(made), 370.0, 430.0)[1]).max()
    assert wrong > 10.0  # the colours alone mislead
    x, z = np.meshgrid(made.strip.offsets, rows)
    painted = np.zeros(x.shape, np.int8)
    inner = made.limb if kind == "limb" else ~made.limb
    painted[patch(x, z) & inner] = 1 if kind == "limb" else -1
    right = np.abs(errors(made, region_of(made, painted), 370.0, 430.0)[1]).max()
    assert right <= 2 * STEP_MM


def test_nothing_painted_changes_nothing(rng):
    made = made_strip(rng)
    plain, empty = region_of(made), region_of(made, np.zeros(made.limb.shape, np.int8))
    np.testing.assert_array_equal(plain.left, empty.left)
    np.testing.assert_array_equal(plain.right, empty.right)


# --------------------------------------------------------------------------------------- refusals


def no_panel(made) -> Panel:
    nothing = np.zeros(made.limb.shape, bool)
    return Panel(nothing, nothing.astype(np.float32), nothing, nothing, nothing)


def test_without_a_panel_clear_steps_of_light_tell_the_limb(rng):
    made = made_strip(rng)
    region = find_region(photograph(made), made.strip, no_panel(made), "photo-1.jpg")
    # steps are told in cells of 4 mm
    assert np.abs(errors(made, region)).max() <= 4.0
    assert all(touched.all() for touched in region.touched)


def test_without_a_panel_nor_steps_of_light_there_is_no_limb(rng):
    made = made_strip(rng, skin=PANEL, floor=PANEL)
    with pytest.raises(OutlineError, match=r"photo-1\.jpg: no plain backdrop"):
        find_region(photograph(made), made.strip, no_panel(made), "photo-1.jpg")


def seam(x, z):
    """What shows of a second leg to the right of the limb."""
    _, right = limb_sides(z[:, 0])
    return (x > right[:, None]) & (x < 130) & (z > 90)


@pytest.mark.parametrize("shade", [0.8, 0.9])
def test_a_second_leg_behind_is_not_the_limb(rng, shade):
    """Skin before skin: only the shade tells where the limb ends; the other leg's far edge is clearer."""
    other = tuple(int(shade * value) for value in SKIN)
    made = made_strip(rng, edits=[(seam, other)])
    region = region_of(made)
    off = errors(made, region, 130.0, 800.0)
    # 4 mm cells of the table of steps, and the row's own 2 mm
    assert np.abs(off).max() <= 6.0
    heights = made.strip.heights[region.rows]
    assert region.touched[1][(heights > 130) & (heights < 800)].mean() > 0.9
    assert not region.touched[0][(heights > 130) & (heights < 800)].any()


def cleared(made, where) -> None:
    """Paint panel over a part of a strip."""
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    hole = where(x, z) & (z > 90)
    made.strip.pixels[hole] = PANEL


@pytest.mark.parametrize(
    ("name", "where"),
    [
        ("no limb at all", lambda x, _: np.abs(x) < 200),
        ("only a stick", lambda x, _: (np.abs(x) < 200) & (np.abs(x) > 8)),
        ("only a foot", lambda x, z: (np.abs(x) < 200) & (z > 110)),
        ("a limb that hangs in the air", lambda x, z: (np.abs(x) < 200) & (z < 500)),
    ],
)
def test_a_panel_without_a_standing_limb_is_refused(rng, name, where):
    made = made_strip(rng)
    cleared(made, where)
    with pytest.raises(OutlineError, match="no limb was found"):
        region_of(made)


def test_a_limb_far_from_the_mat_is_refused(rng):
    made = made_strip(rng, area=panel_area(-330, 330))
    cleared(made, lambda x, _: np.abs(x) < 200)
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    made.strip.pixels[(np.abs(x - 240) < 50) & (z > 90)] = SKIN
    with pytest.raises(OutlineError, match="no limb was found"):
        region_of(made)
