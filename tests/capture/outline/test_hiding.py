"""Where an edge was lost it stays lost while skin is too bright to show anything."""

import numpy as np
import pytest

from digitise.capture.outline.hiding import lost_in_light, short_beside
from digitise.capture.photo.rectified import STEP_MM
from digitise.geometry.view import Edge

ROWS = 300  # 2 mm apart


def straight(value: int) -> tuple[np.ndarray, Edge]:
    """A picture of one grey value up to a straight edge at column 100, and that edge."""
    pixels = np.full((1200, 200, 3), 60, np.uint8)
    pixels[:, :100] = value
    points = np.stack([np.full(ROWS, 100.0), 4.0 * np.arange(ROWS)], axis=1)
    yes = np.ones(ROWS, bool)
    return pixels, Edge(points, np.tile([1.0, 0.0], (ROWS, 1)), np.full(ROWS, 0.3), yes, yes)


@pytest.mark.parametrize(("value", "first"), [(252, 50), (225, 100)])
def test_an_edge_stays_lost_where_skin_is_burnt_out(value, first):
    pixels, edge = straight(value)
    lost = np.zeros(ROWS, bool)
    lost[100:160] = True
    pixels[4 * 160 :, :100] = 200  # below it skin shows its shade again
    found = lost_in_light(pixels, edge, lost, 0.5)
    assert not found[lost].any()
    # 100 mm are 50 rows
    assert np.array_equal(np.flatnonzero(found), np.arange(first, 100))


def test_what_was_never_lost_is_not_doubted():
    pixels, edge = straight(252)
    assert not lost_in_light(pixels, edge, np.zeros(ROWS, bool), 0.5).any()


@pytest.mark.parametrize(
    ("from_mm", "to_mm", "gone"), [(100, 140, True), (108, 140, True), (120, 160, False), (100, 170, False)]
)
def test_a_short_sure_run_beside_a_jump_is_not_sure(from_mm, to_mm, gone):
    """An edge is lost from 40 to 100 mm: what goes on from there for less than 60 mm is doubtful as well."""
    at = np.arange(0.0, 300.0, STEP_MM)
    sure = (at >= from_mm) & (at < to_mm)
    found = short_beside(sure, (at >= 40.0) & (at < 100.0))
    np.testing.assert_array_equal(found, sure & gone)
