"""What lies beyond a lying limb's edge: a support, its own shadow in hard light, or print on the sheet."""

from types import SimpleNamespace

import numpy as np
import pytest

from digitise.capture.lying.cut import CLIP, Cut
from digitise.capture.outline.lying.beyond import shadow_beyond, skin_beyond
from digitise.capture.outline.lying.find import _evidence
from digitise.capture.outline.lying.supports import resting
from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import STEP_MM

# a white sheet, and in its deep shadow, which a pale arm tinges; a grey support and a wooden one in the shade
SHEET, SHADOW, GREY, WOOD = (228, 226, 226), (79, 76, 74), (62, 61, 62), (92, 66, 48)
OFFSETS = np.arange(-200.0, 200.0, STEP_MM)
ROWS = np.arange(220)
EDGE = 50.0
DARK = 60.0  # mm beyond the edge that are not sheet


def scene(colour, rows):
    """Beside a limb 100 mm wide something of a colour lies on some rows, on its right."""
    beside = (OFFSETS > EDGE) & (OFFSETS < EDGE + DARK)
    pixels = np.empty((len(ROWS), len(OFFSETS), 3), np.uint8)
    pixels[:] = SHEET
    pixels[np.ix_(rows, beside)] = colour
    distance2 = np.full(pixels.shape[:2], 1.0, np.float32)
    distance2[np.ix_(rows, beside)] = 260.0  # as measured beside a pale arm
    strip = SimpleNamespace(pixels=pixels, offsets=OFFSETS)
    return strip, SimpleNamespace(inside=np.ones(pixels.shape[:2], bool), distance2=distance2)


def limb():
    nothing, nowhere = np.zeros(len(ROWS), bool), np.zeros(len(ROWS))
    none = np.zeros((len(ROWS), len(OFFSETS)), np.float32)
    both = (nothing, nothing)
    return Region(
        ROWS, nowhere - EDGE, nowhere + EDGE, (none, none), both, both, both, (nowhere, nowhere), nothing,
        both, both, both,
    )  # fmt: skip


@pytest.mark.parametrize("colour", [GREY, WOOD])
def test_a_support_beside_the_limb_is_told(colour):
    """80 mm along the limb, whatever its hue."""
    found = resting(*scene(colour, ROWS[90:130]), limb())
    assert found.rests[1][90:130].all()
    assert found.doubtful[1][90:130].all()
    assert not found.rests[1][:80].any()
    assert not found.rests[0].any()


def test_the_limbs_own_shadow_is_no_support():
    """As dark as a support, but 280 mm long."""
    found = resting(*scene(SHADOW, ROWS[40:180]), limb())
    assert not found.rests[1].any()
    assert not found.hidden[1].any()


def test_wood_that_is_as_long_is_one():
    assert resting(*scene(WOOD, ROWS[40:180]), limb()).rests[1][40:180].all()


def test_where_steps_set_the_edge_over_print_colours_do_not_move_it():
    """Beyond the plain sheet colours tell nothing: evidence there points to the edge, elsewhere it stays."""
    strip, panel = scene(SHADOW, ROWS[:0])
    panel.inside[:, OFFSETS > 30.0] = False
    told = np.where(np.abs(OFFSETS) < 30.0, CLIP, -CLIP) * np.ones((len(ROWS), 1), np.float32)
    nothing = np.zeros(told.shape, bool)
    ends = ROWS < 100
    found = (np.full(len(ROWS), EDGE), ~ends, ends)
    evidence = _evidence(
        strip, panel, Cut(nothing, told.astype(np.float32), nothing, nothing), ROWS, found, 1
    )
    # the sum from the axis outwards is largest where the edge was found, not where the plain sheet ends
    best = OFFSETS[OFFSETS > 0][np.argmax(np.cumsum(evidence[:, OFFSETS > 0], axis=1), axis=1)]
    assert np.abs(best[ends] - EDGE).max() <= 2 * STEP_MM + 2.0
    assert np.abs(best[~ends] - 30.0).max() <= STEP_MM


def test_skin_and_shadow_beyond_an_edge_are_told():
    strip, _ = scene(SHADOW, ROWS[:0])
    cells = np.zeros((len(ROWS), len(OFFSETS)), bool)
    cells[60:140, OFFSETS < EDGE + 20.0] = True
    edge = np.full(len(ROWS), EDGE)
    # the median of nine rows, and ten rows beside for skin
    assert skin_beyond(cells, strip, ROWS, edge, 1)[60:140].all()
    assert not skin_beyond(cells, strip, ROWS, edge, 1)[:45].any()
    assert shadow_beyond(cells, strip, ROWS, edge, 1)[62:138].all()
    assert not shadow_beyond(cells, strip, ROWS, edge, 1)[:55].any()
    assert not skin_beyond(cells, strip, ROWS, edge + 20.0, 1).any()
