"""B-splines against scipy's."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import BSpline

from digitise.geometry.splines import every_spline

steps = st.lists(st.floats(0.1, 50.0), min_size=1, max_size=12)


@given(steps=steps, low=st.floats(-200.0, 200.0), degree=st.integers(1, 4), places=st.integers(1, 30))
def test_values_and_derivatives_are_those_of_scipy(steps, low, degree, places):
    inner = low + np.concatenate([[0.0], np.cumsum(steps)])
    knots = np.concatenate([np.repeat(inner[0], degree), inner, np.repeat(inner[-1], degree)])
    z = np.sort(np.concatenate([np.linspace(inner[0], inner[-1], places), inner]))
    scipys = BSpline(knots, np.eye(len(knots) - degree - 1), degree)
    for derivative in range(degree + 1):
        found, expected = every_spline(knots, degree, z, derivative), scipys(z, nu=derivative)
        # the recursions are the same; rounding grows with each division by a span
        np.testing.assert_allclose(found, expected, atol=1e-12 * max(1.0, np.abs(expected).max()))


@pytest.mark.parametrize("twice", [1, 2])
def test_inner_knots_may_coincide(twice):
    knots = np.array([0.0, 0.0, 0.0, 0.0, *[10.0] * twice, 25.0, 30.0, 30.0, 30.0, 30.0])
    z = np.linspace(0.0, 30.0, 61)
    scipys = BSpline(knots, np.eye(len(knots) - 4), 3)
    for derivative in (0, 1, 2):
        np.testing.assert_allclose(
            every_spline(knots, 3, z, derivative), scipys(z, nu=derivative), atol=1e-12
        )


def test_values_add_up_to_one():
    knots = np.array([-3.0, -3.0, -3.0, -3.0, 0.0, 5.0, 5.5, 20.0, 20.0, 20.0, 20.0])
    np.testing.assert_allclose(
        every_spline(knots, 3, np.linspace(-3.0, 20.0, 50)).sum(axis=1), 1.0, atol=1e-14
    )
