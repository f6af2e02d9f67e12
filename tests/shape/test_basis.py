import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad

from digitise.shape.basis import Basis

BASIS = Basis.uniform(80, 480, 25, 2)


def test_splines_sum_to_one_and_reproduce_height():
    z = np.linspace(80, 480, 57)
    assert_allclose(BASIS.splines(z).sum(axis=1), 1)
    assert_allclose(BASIS.splines(z) @ BASIS.places, z)


def test_gram_is_the_integral():
    gram = BASIS.gram(133.0, 401.0)
    for i, j in [(3, 3), (4, 6), (0, 1), (10, 12)]:

        def product(z, i=i, j=j):
            values = BASIS.splines(np.array([z]))[0]
            return values[i] * values[j]

        inside = [knot for knot in BASIS.knots[3:-3] if 133 < knot < 401]
        assert_allclose(gram[i, j], quad(product, 133, 401, points=inside, limit=200)[0], atol=1e-9)


@pytest.mark.parametrize("apart", [0.0, 20.0, 70.0, 150.0])
def test_matern_prior_has_the_stated_covariance(apart):
    covariance = np.linalg.inv(BASIS.matern_precision(70.0))
    wanted = (1 + np.sqrt(3) * apart / 70) * np.exp(-np.sqrt(3) * apart / 70)
    for z in (90.0, 200.0, 310.0):
        a, b = BASIS.splines(np.array([z, z + apart]))
        # splines every 25 mm cannot follow the roughest part of the process: 3 % of its variance
        assert_allclose(a @ covariance @ b, wanted, atol=0.03)


def test_roughness_leaves_straight_lines_free():
    precision = BASIS.roughness_precision(0.15)
    line = 3.0 + 0.2 * BASIS.places
    assert abs(line @ precision @ line) < 1e-9
    assert np.linalg.matrix_rank(precision, tol=1e-9 * precision.max()) == BASIS.n_splines - 2


def test_roughness_of_a_bend():
    # slope changing by s over 100 mm at constant curvature s / 100: integral of curvature^2 over 100 mm,
    # over s^2 / 100, is one
    basis = Basis.uniform(0, 100, 25, 1)
    bend = 0.15 / 100 / 2
    coefficients = np.linalg.lstsq(basis.splines(np.arange(101.0)), bend * np.arange(101.0) ** 2, rcond=None)[
        0
    ]
    assert_allclose(coefficients @ basis.roughness_precision(0.15) @ coefficients, 1.0, rtol=1e-6)


def test_bending_and_what_spans_keep_of_the_roughness():
    # of b z^2 the squared curvature is 4 b^2 everywhere: 4 b^2 25 on a span of 25 mm
    basis = Basis.uniform(0, 100, 25, 1)
    z, bend = np.arange(101.0), 0.002
    coefficients = np.linalg.lstsq(basis.splines(z), bend * z**2, rcond=None)[0]
    assert_allclose(basis.bending(coefficients[None]), np.full((4, 1), 100 * bend**2), rtol=1e-6)
    share = np.array([1.0, 0.5, 0.25, 0.0])
    kept = coefficients @ basis.roughness_precision(0.15, share) @ coefficients
    assert_allclose(kept, 1.75 * 100 * bend**2 / (0.15**2 / 100), rtol=1e-6)


def test_design_is_harmonics_times_splines():
    rng = np.random.default_rng(1)
    parameters = rng.standard_normal(BASIS.size)
    a0, a1, b1, a2, b2 = parameters.reshape(5, -1) @ BASIS.splines(np.array([200.0]))[0]
    theta = 0.4
    wanted = a0 + a1 * np.cos(theta) + b1 * np.sin(theta) + a2 * np.cos(2 * theta) + b2 * np.sin(2 * theta)
    assert_allclose(BASIS.design(np.array([theta]), np.array([200.0])) @ parameters, wanted)
