"""What touches a limb: a body that a step of light parts from it, not its own flank in shade."""

import numpy as np
import pytest
from strips import made_strip

from digitise.capture.outline.bodies import Pair
from digitise.capture.outline.track import joined
from digitise.capture.photo.rectified import STEP_MM
from digitise.capture.surroundings.backdrop import find_panel

DEEP_MM = 40.0  # the steps' path runs that far within the limb's left side


@pytest.mark.parametrize(
    ("step", "jump_mm", "touches"), [(0.0, 0.0, False), (0.3, 0.0, True), (0.0, 30.0, True)]
)
def test_without_a_step_a_flank_is_the_limbs_own_unless_its_boundary_jumps(rng, step, jump_mm, touches):
    made = made_strip(rng)
    panel = find_panel(made.strip, [made.area])
    rows = np.flatnonzero((made.strip.heights > 100.0) & (made.strip.heights < 860.0))
    every = np.arange(rows[0], len(made.strip.heights))
    strayed = (made.strip.heights[every] > 300.0) & (made.strip.heights[every] < 500.0)
    side = np.round((made.left[rows] - made.strip.offsets[0]) / STEP_MM).astype(np.intp)
    side = side - np.where(strayed[: len(rows)], round(jump_mm / STEP_MM), 0)
    left = made.left[every] + np.where(strayed, DEEP_MM, 0.0)
    strength = np.where(strayed, step, 0.3)
    pair = Pair((left, made.right[every]), (strength, strength), ([], []))
    found, touched, patch = joined(made.strip, panel, rows, side, pair, 0, np.ones(len(every), bool))
    assert not patch.any()
    # a median of 15 rows rounds the ends of a run off
    assert touched[strayed].mean() == pytest.approx(float(touches), abs=15 / strayed.sum())
    assert not touched[~strayed].any()
    kept = found[: len(rows)][strayed[: len(rows)]] == side[strayed[: len(rows)]]
    assert kept.mean() == pytest.approx(float(not touches), abs=15 / strayed.sum())
