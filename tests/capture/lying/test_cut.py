"""A made strip: a limb that shines on its lit side, with its own shadow, as dark as the limb, beside it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from lying_limbs import cameras_above, lying_axis

from digitise.capture.lying.cut import cut_out
from digitise.capture.lying.silhouette import drawn_silhouette
from digitise.capture.photo.rectified import STEP_MM, Strip
from digitise.capture.surroundings.backdrop import Panel
from digitise.errors import OutlineError
from digitise.geometry.rigid import Pose

HEIGHTS = np.arange(500.0, 20.0, -STEP_MM)
OFFSETS = np.arange(-340.0, 341.0, STEP_MM)
LEFT, RIGHT, SHADOW = -45.0, 45.0, 110.0  # mm: the limb's edges, and where its shadow ends
SHEETS = {"grey": (150, 160, 152), "white": (225, 225, 222), "blue": (70, 105, 170)}


def scene(sheet, skin, seed=0, gloss=0.03):
    """A strip (H, W, 3) with the limb between LEFT and RIGHT, lit from the left."""
    x = np.broadcast_to(OFFSETS, (len(HEIGHTS), len(OFFSETS)))
    across = np.clip((x - LEFT) / (RIGHT - LEFT), 0.0, 1.0)
    light = np.where(
        (x > LEFT) & (x < RIGHT), 1.3 - 0.9 * across, np.where((x >= RIGHT) & (x < SHADOW), 0.25, 1.0)
    )
    limb = (x > LEFT) & (x < RIGHT)
    colour = np.where(limb[..., None], skin, sheet) / 255.0
    linear = colour**2.2 * light[..., None]
    linear = (
        linear + np.where(limb & (across < 0.12), gloss, 0.0)[..., None]
    )  # what shines has the light's hue
    pixels = 255.0 * np.clip(linear, 0, 1) ** (1 / 2.2)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.8) + np.random.default_rng(seed).normal(0, 2.0, pixels.shape)
    return Strip(
        cameras_above()[1], Pose.identity(), HEIGHTS, OFFSETS, np.clip(pixels, 0, 255).astype(np.uint8)
    )


def whole_sheet():
    """What is known of the sheet: the limb stands out from it, its shadow a little."""
    shape = (len(HEIGHTS), len(OFFSETS))
    nowhere = np.zeros(shape, bool)
    limb, shade = (OFFSETS > LEFT) & (OFFSETS < RIGHT), (OFFSETS >= RIGHT) & (OFFSETS < SHADOW)
    distance2 = np.where(limb, 300.0, np.where(shade, 60.0, 1.0))
    distance2 = np.broadcast_to(distance2, shape).astype(np.float32)
    return Panel(np.ones(shape, bool), distance2, nowhere, nowhere, nowhere)


@pytest.mark.parametrize("sheet", SHEETS)
@pytest.mark.parametrize("skin", [(64, 42, 32), (98, 62, 44), (232, 194, 168)])
def test_limb_and_shadow_are_told_apart(sheet, skin):
    """Edges to a cell or two of 2 mm, whatever is darker."""
    cut = cut_out(scene(SHEETS[sheet], skin), whole_sheet())
    first = OFFSETS[np.argmax(cut.limb, axis=1)]
    last = OFFSETS[len(OFFSETS) - 1 - np.argmax(cut.limb[:, ::-1], axis=1)]
    assert np.quantile(np.abs(first - LEFT), 0.95) <= 2 * STEP_MM
    assert np.quantile(np.abs(last - RIGHT), 0.95) <= 2 * STEP_MM
    inside, shade = np.abs(OFFSETS) < 30.0, (OFFSETS > RIGHT + 10) & (OFFSETS < SHADOW - 10)
    assert cut.evidence[:, inside].mean() > 1.0
    assert cut.evidence[:, shade].mean() < -1.0


@pytest.mark.parametrize("sheet", ["grey", "blue"])
def test_what_shines_brighter_than_the_sheet_is_limb(sheet):
    """A band of 11 mm at the lit edge that has the light's hue, and twice the sheet's light."""
    cut = cut_out(scene(SHEETS[sheet], (64, 42, 32), gloss=0.9), whole_sheet())
    first = OFFSETS[np.argmax(cut.limb, axis=1)]
    assert np.quantile(np.abs(first - LEFT), 0.95) <= 2 * STEP_MM


def lit(colours):
    """A strip of these colours (W, 3), of full light, blurred and noisy as :func:`scene` is."""
    pixels = 255.0 * np.clip(np.tile(colours, (len(HEIGHTS), 1, 1)), 0, 1) ** (1 / 2.2)
    pixels = cv2.GaussianBlur(pixels, (0, 0), 0.8) + np.random.default_rng(0).normal(0, 2.0, pixels.shape)
    return Strip(
        cameras_above()[1], Pose.identity(), HEIGHTS, OFFSETS, np.clip(pixels, 0, 255).astype(np.uint8)
    )


def edges(cut):
    first = OFFSETS[np.argmax(cut.limb, axis=1)]
    return first, OFFSETS[len(OFFSETS) - 1 - np.argmax(cut.limb[:, ::-1], axis=1)]


def test_the_lit_sheet_is_no_limb_where_most_of_it_lies_in_shadow():
    """As a very dark arm on a dark sheet, whose shadow falls over all that is seen beyond it."""
    sheet, skin, warm = np.array([0.10, 0.10, 0.09]), np.array([0.013, 0.008, 0.007]), [0.05, 0.035, 0.03]
    colours = np.where((OFFSETS > 0)[:, None], 0.1 * sheet, sheet)
    limb = (OFFSETS > LEFT) & (OFFSETS < RIGHT)
    colours = np.where(limb[:, None], np.where((OFFSETS < LEFT + 30)[:, None], warm, skin), colours)
    panel = replace(
        whole_sheet(), distance2=np.tile(np.where(limb, 300.0, 2.0), (len(HEIGHTS), 1)).astype(np.float32)
    )
    first, last = edges(cut_out(lit(colours), panel))
    assert np.quantile(np.abs(first - LEFT), 0.95) <= 2 * STEP_MM
    assert np.quantile(np.abs(last - RIGHT), 0.95) <= 2 * STEP_MM


def test_the_shadow_of_skin_in_too_much_light_is_no_limb():
    """Skin that is burnt nearly white on the axis, its shaded rim, and a shadow that it tinges (measured)."""
    away = (OFFSETS - LEFT) / (RIGHT - LEFT)
    burnt, rim = np.array([0.90, 0.84, 0.80]), np.array([0.105, 0.078, 0.069])
    shadow, sheet = np.array([0.080, 0.0745, 0.071]), np.array([0.72, 0.69, 0.69])
    colours = np.where((OFFSETS < SHADOW)[:, None] & (OFFSETS > LEFT)[:, None], shadow, sheet)
    colours = np.where(((away > 0) & (away < 1))[:, None], rim, colours)
    colours = np.where(((away > 0) & (away < 0.85))[:, None], burnt, colours)
    cut = cut_out(lit(colours), whole_sheet())
    first, last = edges(cut)
    assert np.quantile(np.abs(first - LEFT), 0.95) <= 2 * STEP_MM
    assert np.quantile(np.abs(last - RIGHT), 0.95) <= 2 * STEP_MM
    # the rim counts as limb and the shadow not, so that the edge is found between them
    near = np.abs(OFFSETS - RIGHT)
    assert cut.evidence[:, (near < 10) & (near > 3) & (OFFSETS < RIGHT)].mean() > 2.0
    assert cut.evidence[:, (near < 10) & (near > 3) & (OFFSETS > RIGHT)].mean() < -2.0


def test_what_a_person_painted_is_kept():
    strip = scene(SHEETS["grey"], SHEETS["grey"])  # nothing tells this limb
    painted = np.zeros((len(HEIGHTS), len(OFFSETS)), np.int8)
    painted[:, np.abs(OFFSETS) < 40.0] = 1
    assert cut_out(strip, whole_sheet(), painted).limb[:, np.abs(OFFSETS) < 40.0].all()


def test_a_strip_without_a_sheet_tells_nothing():
    panel = whole_sheet()
    nothing = replace(panel, inside=panel.printed)
    assert cut_out(scene(SHEETS["grey"], (98, 62, 44)), nothing) is None


def test_a_line_drawn_round_a_limb_is_its_silhouette():
    """A band of 90 mm about a known axis: its middle rays lie in the plane through camera and axis."""
    axis, camera = lying_axis(6.0, 0.0), cameras_above((50.0,))[0]
    world = axis.inverse()
    eye = axis.apply(camera.centre)
    beside = np.array([-eye[1], eye[0], 0.0]) / np.hypot(eye[0], eye[1]) * 45.0
    z = np.array([0.0, 0.0, 1.0])
    ring = [20 * z - beside, 20 * z + beside, 380 * z + beside, 380 * z - beside]
    found = drawn_silhouette(camera.project(world.apply(np.array(ring))), camera, "photo-1.jpg")
    middle = found.middle @ axis.rotation.T
    normal = np.cross(z, eye)
    off = middle @ normal / np.linalg.norm(normal)
    # a cell of 5 pixels is 2 mm at the limb, 1.15 m away
    assert np.abs(off).max() * 1150.0 < 2.0


def test_a_line_round_next_to_nothing_is_refused():
    with pytest.raises(OutlineError, match="encloses too little"):
        drawn_silhouette(
            np.array([[10.0, 10.0], [60.0, 10.0], [60.0, 50.0]]), cameras_above()[0], "photo-1.jpg"
        )
