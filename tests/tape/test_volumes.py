"""Volumes from girths against worked values computed by hand and closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitise.errors import TapeError
from digitise.tape.rows import TapeRow
from digitise.tape.volumes import cone_sum_ml, cone_volume_ml

# The worked profile (methods, section A, "Test profile"): girths in cm every 4 cm, given to 1e-4 mL
GIRTHS = np.array([22, 24, 28, 33, 36, 35, 33]) * 10.0
HEIGHTS = np.arange(7) * 40.0
HALF_DIGIT = 0.5e-4


@pytest.mark.parametrize(("step", "volume"), [(1, 1829.2208), (2, 1813.3053), (3, 1771.7128), (6, 1463.5889)])
def test_worked_profile(step, volume):
    assert cone_sum_ml(HEIGHTS[::step], GIRTHS[::step]) == pytest.approx(volume, abs=HALF_DIGIT)


def test_worked_cones_one_by_one():
    by_step = [cone_sum_ml(HEIGHTS[i : i + 2], GIRTHS[i : i + 2]) for i in range(6)]
    # section A, first line of the table, to 1e-3 mL
    expected = [168.492, 215.602, 296.771, 379.107, 401.177, 368.072]
    np.testing.assert_allclose(by_step, expected, atol=0.5e-3)
    assert cone_sum_ml(np.array([0.0, 100.0]), np.array([250.0, 300.0])) == pytest.approx(
        603.4625, abs=HALF_DIGIT
    )


# ---- between stated heights ---------------------------------------------------------------------

ROWS = tuple(TapeRow(h + 100.0, c) for h, c in zip(HEIGHTS, GIRTHS, strict=True))


def test_whole_profile():
    assert cone_volume_ml(ROWS, 100.0, 340.0) == pytest.approx(1829.2208, abs=HALF_DIGIT)


@given(st.floats(100.0, 339.0), st.floats(0.5, 200.0), st.floats(0.5, 200.0))
def test_parts_add_up(start, first, second):
    middle, end = min(start + first, 339.5), min(start + first + second, 340.0)
    if middle <= start or end <= middle:
        return
    parts = cone_volume_ml(ROWS, start, middle) + cone_volume_ml(ROWS, middle, end)
    assert parts == pytest.approx(cone_volume_ml(ROWS, start, end), rel=1e-10)


def test_end_girth_is_carried_on():
    # cylinders of 22 and 33 cm over 3 cm: 3 C² / 4 pi
    below, above = 3 * 22**2 / (4 * np.pi), 3 * 33**2 / (4 * np.pi)
    expected = 1829.2208 + below + above
    assert cone_volume_ml(ROWS, 70.0, 370.0) == pytest.approx(expected, abs=HALF_DIGIT)
    # a range wholly beyond the rows is a cylinder too
    assert cone_volume_ml(ROWS, 70.0, 80.0) == pytest.approx(below / 3, rel=1e-12)


@pytest.mark.parametrize(
    ("rows", "start", "end", "message"),
    [
        (ROWS, 59.0, 340.0, "59 mm lies 41 mm beyond the tape rows"),
        (ROWS, 100.0, 400.0, "400 mm lies 60 mm beyond"),
        (ROWS, 200.0, 200.0, "not above the lower"),
        (ROWS, 300.0, 200.0, "not above the lower"),
        (ROWS, float("nan"), 200.0, "not above the lower"),
        (ROWS, 100.0, float("inf"), "beyond the tape rows"),
        ((), 100.0, 200.0, "no tape rows"),
    ],
)
def test_heights_without_girths_are_refused(rows, start, end, message):
    with pytest.raises(TapeError, match=message):
        cone_volume_ml(rows, start, end)


def test_one_row_reaches_its_neighbourhood():
    assert cone_volume_ml(ROWS[:1], 90.0, 120.0) == pytest.approx(3 * 22**2 / (4 * np.pi))
