"""Worked values computed from the formulas named beside them; the 4620 form is from Thomas 2003."""

import numpy as np
import pytest

from digitise.care.wrap.pressure import (
    CRITICISM,
    PASCAL_PER_MMHG,
    RELATIVE_ONLY,
    laplace_pa,
    layered_mmhg,
)

NEWTON_PER_KGF = 9.80665


def mean_mmhg(tension_n, width_mm, girth_mm, layers=1.0):
    """The mean pressure of a girth, R = C / 2 pi."""
    return float(laplace_pa(tension_n, width_mm, np.array(girth_mm / (2 * np.pi)), layers)) / PASCAL_PER_MMHG


@pytest.mark.parametrize(
    ("tension_kgf", "layers", "girth_cm", "width_cm", "mmhg"),
    [
        (0.5, 2, 25, 10, 18.48),
        (0.5, 3, 25, 10, 27.72),
        (0.5, 2, 35, 10, 13.20),
        (0.5, 2, 18, 10, 25.667),
        (0.4, 2, 24, 8, 19.25),
        # the same bandage from a 22 cm ankle to a 36 cm calf
        (0.5, 2, 22, 10, 21.00),
        (0.5, 2, 36, 10, 12.83),
    ],
)
def test_form_used_in_clinics(tension_kgf, layers, girth_cm, width_cm, mmhg):
    # 4620 T N / (C W); its constant is 2 pi times 735.559 = 4621.655, rounded
    found = mean_mmhg(NEWTON_PER_KGF * tension_kgf, 10.0 * width_cm, 10.0 * girth_cm, layers)
    assert found * 4620 / 4621.655 == pytest.approx(mmhg, abs=6e-3)


def test_exact_constants():
    # 4621.655 per kgf, 471.277 per newton, with girth and width in cm
    assert mean_mmhg(NEWTON_PER_KGF, 10.0, 10.0) == pytest.approx(4621.655, abs=2e-3)
    assert mean_mmhg(1.0, 10.0, 10.0) == pytest.approx(471.277, abs=1e-3)


def test_si_check():
    # 5 N over 0.10 m, N = 2, C = 0.25 m
    pascal = laplace_pa(5.0, 100.0, np.array(250.0 / (2 * np.pi)), 2)
    assert float(pascal) == pytest.approx(2513.27, abs=5e-3)
    # 2513.27 Pa / 133.322 Pa per mmHg
    assert mean_mmhg(5.0, 100.0, 250.0, 2) == pytest.approx(18.8511, abs=5e-5)


@pytest.mark.parametrize(("thickness", "mmhg"), [(0, 37.702), (1, 35.924), (3, 32.939), (5, 30.518)])
def test_layers_have_thickness(thickness, mmhg):
    # C = 25 cm, T / W = 50 N/m, N = 4
    assert float(layered_mmhg(5.0, 100.0, np.array(250.0), 4, thickness)) == pytest.approx(mmhg, abs=6e-4)


def test_part_of_a_layer_counts_by_its_share():
    one, two, between = (float(layered_mmhg(5.0, 100.0, np.array(250.0), n, 0.0)) for n in (1, 2, 1.5))
    assert between == pytest.approx((one + two) / 2)


def test_pressure_round_an_ellipse():
    # a = 6, b = 4 cm, N T / W = 100 N/m: tip, flat, and the mean of its girth of 31.7309 cm
    at_tip, at_flat = (10 * 4.0**2 / 6.0, 10 * 6.0**2 / 4.0)  # b^2 / a and a^2 / b, mm
    found = [float(laplace_pa(10.0, 100.0, np.array(r))) / PASCAL_PER_MMHG for r in (at_tip, at_flat)]
    assert found == pytest.approx([28.127, 8.334], abs=6e-4)
    assert mean_mmhg(10.0, 100.0, 317.308792) == pytest.approx(14.852, abs=6e-4)
    assert 31.7308792 / (2 * np.pi) == pytest.approx(5.0501, abs=5e-5)
    assert found[0] / found[1] == pytest.approx((6 / 4) ** 3)


@pytest.mark.parametrize(("padding", "mmhg"), [(0, 18.851), (5, 16.747), (10, 15.065), (20, 12.545)])
def test_padding_lowers_pressure(padding, mmhg):
    # a circle of C = 25 cm, N T / W = 100 N/m
    girth = 250.0 + 2 * np.pi * padding
    assert mean_mmhg(10.0, 100.0, girth) == pytest.approx(mmhg, abs=6e-4)


def test_criticism_is_at_hand():
    words = " ".join((RELATIVE_ONLY, *CRITICISM))
    assert "prescription" in words
    assert all(part in words for part in ("19 %", "42 %", "23.5 %", "12.3 %"))
