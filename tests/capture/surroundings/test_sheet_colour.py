"""The colour of a sheet of which a hard shadow covers more than is lit."""

import numpy as np
import pytest

from digitise.capture.surroundings.sheet_colour import fit_sheet

HEIGHT, WIDTH = 250, 340
LIT, SHADED = (-1.4, -0.7, 1.0), (-3.4, -0.62, 0.92)  # log brightness and hues of a blue sheet
SKIN = (-0.9, 0.5, -0.3)
GRAIN = (0.03, 0.015, 0.015)


def scene(rng, shadow_from, limb, brighter=SKIN):
    """Values (H, W, 3), shadow to the right of a column, a limb between two; and the area's parts."""
    columns = np.broadcast_to(np.arange(WIDTH), (HEIGHT, WIDTH))
    values = np.where((columns >= shadow_from)[..., None], SHADED, LIT)
    on_limb = (columns >= limb[0]) & (columns < limb[1])
    values = np.where(on_limb[..., None], brighter, values) + rng.normal(0.0, GRAIN, values.shape)
    whole = np.ones((HEIGHT, WIDTH), bool)
    rim = whole.copy()
    rim[30:-30, 30:-30] = False
    core = whole & (np.abs(columns - np.mean(limb)) < 6)
    return values.astype(np.float32), whole, rim, core


@pytest.mark.parametrize("shadow_from", [140, 170, 340])
def test_the_lit_part_is_the_sheet(rng, shadow_from):
    """Also where the shadow, of the sheet's own hue, covers more of it and of its rim."""
    colour, _ = fit_sheet(*scene(rng, shadow_from, (60, 105)))
    lit = colour[:, :50].mean(axis=(0, 1))
    assert np.all(np.abs(lit - LIT) < 3.0 * np.array(GRAIN))


def test_a_limb_of_nearly_the_sheets_hue_is_not_its_lit_part(rng):
    """A pale limb on a grey sheet, more than half as large as what shows of it, stands in its own place."""
    pale = (SHADED[0] + 2.0, SHADED[1] + 0.08, SHADED[2] - 0.08)
    colour, _ = fit_sheet(*scene(rng, 0, (110, 230), pale))
    assert np.all(np.abs(colour[:, :50].mean(axis=(0, 1)) - SHADED) < 3.0 * np.array(GRAIN))
