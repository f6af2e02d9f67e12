"""Volumes from girths against worked values computed by hand and closed forms."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitise.errors import TapeError
from digitise.tape.rows import TapeRow
from digitise.tape.volumes import (
    cone_sum_ml,
    cone_volume_ml,
    cone_volume_sd_ml,
    ellipse_from_girth,
    ellipse_perimeter,
    elliptic_sum_ml,
    lower_disc_sum_ml,
    mean_area_sum_ml,
    mean_girth_disc_sum_ml,
    similar_elliptic_sum_ml,
    simpson_ml,
)

# The worked profile (methods, section A, "Test profile"): girths in cm every 4 cm, given to 1e-4 mL
GIRTHS = np.array([22, 24, 28, 33, 36, 35, 33]) * 10.0
HEIGHTS = np.arange(7) * 40.0
HALF_DIGIT = 0.5e-4


@pytest.mark.parametrize(
    ("rule", "step", "volume"),
    [
        (cone_sum_ml, 1, 1829.2208),
        (cone_sum_ml, 2, 1813.3053),
        (cone_sum_ml, 3, 1771.7128),
        (cone_sum_ml, 6, 1463.5889),
        (lower_disc_sum_ml, 1, 1736.0621),
        (mean_girth_disc_sum_ml, 1, 1827.6558),
        (mean_area_sum_ml, 1, 1832.3509),
        (simpson_ml, 1, 1834.8443),
    ],
)
def test_worked_profile(rule, step, volume):
    assert rule(HEIGHTS[::step], GIRTHS[::step]) == pytest.approx(volume, abs=HALF_DIGIT)


def test_worked_cones_one_by_one():
    by_step = [cone_sum_ml(HEIGHTS[i : i + 2], GIRTHS[i : i + 2]) for i in range(6)]
    # section A, first line of the table, to 1e-3 mL
    expected = [168.492, 215.602, 296.771, 379.107, 401.177, 368.072]
    np.testing.assert_allclose(by_step, expected, atol=0.5e-3)
    assert cone_sum_ml(np.array([0.0, 100.0]), np.array([250.0, 300.0])) == pytest.approx(
        603.4625, abs=HALF_DIGIT
    )


def test_elliptic_frusta():
    # section A, A6: (6, 5) to (4, 3) over 10 cm; (6, 3) to (4, 2) over 10 cm
    heights = np.array([0.0, 100.0])
    a, b = np.array([60.0, 40.0]), np.array([50.0, 30.0])
    assert elliptic_sum_ml(heights, a, b) == pytest.approx(638.7905, abs=HALF_DIGIT)
    assert similar_elliptic_sum_ml(heights, a, b) == pytest.approx(638.5147, abs=HALF_DIGIT)
    similar = np.array([30.0, 20.0])
    for rule in (elliptic_sum_ml, similar_elliptic_sum_ml):
        assert rule(heights, a, similar) == pytest.approx(397.9351, abs=HALF_DIGIT)


@pytest.mark.parametrize(
    ("axis_ratio", "percent"),
    [(1.05, 0.089), (1.10, 0.341), (1.20, 1.251), (1.30, 2.599), (1.50, 6.266), (2.00, 18.883)],
)
def test_circle_taken_for_an_ellipse_reads_too_much(axis_ratio, percent):
    # section A, A7
    a, b = ellipse_from_girth(350.0, axis_ratio)
    excess = 350.0**2 / (4 * np.pi * np.pi * a * b) - 1
    assert 100 * excess == pytest.approx(percent, abs=0.5e-3)


def test_ellipse_from_girth_worked():
    a, b = ellipse_from_girth(31.7308792, 1.5)
    assert (float(a), float(b)) == (pytest.approx(6.0, abs=1e-7), pytest.approx(4.0, abs=1e-7))


@pytest.mark.parametrize(
    ("a", "b", "perimeter"),
    [  # section J, complete elliptic integrals in double precision
        (1, 1, 6.283185307179586),
        (5, 4, 28.361667888974488),
        (3, 2, 15.865439589290588),
        (2, 1, 9.688448220547675),
        (6, 4, 31.730879178581176),
        (10, 1, 40.63974180100896),
        (1, 0, 4.0),
    ],
)
def test_ellipse_perimeter(a, b, perimeter):
    assert float(ellipse_perimeter(a, b)) == pytest.approx(perimeter, rel=1e-14)
    assert float(ellipse_perimeter(b, a)) == pytest.approx(perimeter, rel=1e-14)


girth = st.floats(50.0, 1500.0)
step = st.floats(1.0, 200.0)


@given(step, girth, girth)
def test_identities_between_the_rules(h, low, high):
    heights, girths = np.array([0.0, h]), np.array([low, high])
    cone = cone_sum_ml(heights, girths)
    # A1 - A3 = h (C1 - C2)² / 48 pi and A4 - A1 = h (C1 - C2)² / 24 pi, hence A3 <= A1 <= A4
    square = h * (low - high) ** 2 / np.pi / 1000.0
    rounding = 1e-12 * mean_area_sum_ml(heights, girths)
    assert cone - mean_girth_disc_sum_ml(heights, girths) == pytest.approx(square / 48, abs=rounding)
    assert mean_area_sum_ml(heights, girths) - cone == pytest.approx(square / 24, abs=rounding)


@given(st.lists(st.tuples(step, girth), min_size=2, max_size=8))
def test_circles_are_ellipses(sections):
    heights = np.cumsum([h for h, _ in sections])
    girths = np.array([c for _, c in sections])
    radius = girths / (2 * np.pi)
    assert elliptic_sum_ml(heights, radius, radius) == pytest.approx(cone_sum_ml(heights, girths), rel=1e-12)


@pytest.mark.parametrize("heights", [[0, 40], [0, 40, 80, 120], [0, 40, 90]])
def test_simpson_needs_an_even_number_of_equal_steps(heights):
    with pytest.raises(TapeError, match="even number of equal steps"):
        simpson_ml(np.array(heights, float), np.full(len(heights), 300.0))


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


@pytest.mark.parametrize(("start", "end"), [(100.0, 340.0), (115.0, 333.0), (80.0, 360.0)])
def test_sd_agrees_with_sampling(rng, start, end):
    own, shared = 4.0, 2.0
    draws = []
    for _ in range(4000):
        off = rng.normal(0, own, len(ROWS)) + rng.normal(0, shared)
        rows = [TapeRow(r.height_mm, r.girth_mm + d) for r, d in zip(ROWS, off, strict=True)]
        draws.append(cone_volume_ml(rows, start, end))
    # the sd of 4000 draws is known to 1 / sqrt(8000) = 1.1 %; four of those
    assert cone_volume_sd_ml(ROWS, start, end, own, shared) == pytest.approx(np.std(draws), rel=0.045)


def test_sd_of_a_shared_error_is_twice_the_relative_error():
    # a cylinder: dV / V = 2 dC / C
    rows = (TapeRow(0.1, 350.0), TapeRow(200.0, 350.0))
    volume = cone_volume_ml(rows, 0.1, 200.0)
    assert cone_volume_sd_ml(rows, 0.1, 200.0, 0.0, 5.0) == pytest.approx(2 * 5 / 350 * volume, rel=1e-12)
