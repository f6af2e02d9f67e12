import numpy as np
import pytest
from solid_limbs import AROUND, LOW, cone_radius, limb

from digitise.care.surface.curvature import (
    SHARPEST,
    ellipse_radii,
    laplace_ratio,
    padded_ratio,
    pressure_map,
    section_radius,
)


def oval(a, b):
    return lambda theta, z: np.hypot(a * np.cos(theta), b * np.sin(theta)) + 0 * z


def test_ellipse_worked_values():
    # methods: a = 6, b = 4 cm -> 2.6667 and 9.0 cm, pressure ratio (a / b)^3 = 3.375
    at_a, at_b = ellipse_radii(6.0, 4.0)
    assert (at_a, at_b) == pytest.approx((2.6667, 9.0), abs=5e-5)
    assert padded_ratio(at_a, at_b, 0.0) == pytest.approx(3.375)
    # 1 cm of padding: 3.667 and 10.0, ratio 2.727
    assert (at_a + 1, at_b + 1) == pytest.approx((3.667, 10.0), abs=5e-4)
    assert padded_ratio(at_a, at_b, 1.0) == pytest.approx(2.727, abs=5e-4)


def test_section_radius_is_the_ellipses():
    # six harmonics of a 60:52 ellipse leave order 8, (1 - 64) * 60 * e^4-ish: 0.1 mm at this roundness
    found = section_radius(limb(oval(60.0, 52.0)), np.array([0.0, np.pi / 2]), np.array([300.0])).mean
    assert found[0] == pytest.approx(ellipse_radii(60.0, 52.0), abs=0.15)


def test_mean_radius_is_girth_over_two_pi():
    shape = limb(lambda theta, z: cone_radius(z) + 2 * np.cos(3 * theta) + np.sin(2 * theta))
    found = section_radius(shape, AROUND, np.array([LOW, 250.0])).mean
    assert found.mean(axis=1) == pytest.approx(cone_radius([LOW, 250.0]), rel=1e-6)


def test_pressure_map_of_a_round_limb_is_one():
    found = pressure_map(limb(lambda theta, z: cone_radius(z) + 0 * theta))
    assert found.ratio == pytest.approx(np.ones_like(found.ratio), abs=1e-6)
    assert found.ratio.shape == (len(found.z), len(found.theta)) == found.radius.sd.shape


def test_pressure_map_tips_against_flats():
    found = pressure_map(limb(oval(60.0, 52.0)))
    quarter = len(found.theta) // 4
    ratio = found.ratio[:, 0] / found.ratio[:, quarter]
    # (a / b)^3 = 1.536; order 8 left out moves either radius by 0.15 of about 50 mm
    assert ratio == pytest.approx((60 / 52) ** 3, rel=0.01)


@pytest.mark.parametrize(
    ("radius", "expected"), [(50.0, 1.0), (25.0, 2.0), (0.0, 0.0), (-3.0, 0.0), (1e-9, SHARPEST)]
)
def test_flat_and_sharp_places(radius, expected):
    assert laplace_ratio(np.array([radius]), np.array([50.0]))[0] == pytest.approx(expected)
