"""What two visits share: one anatomy, one hand, one outline; each against a closed form."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from drawn_limbs import Truth, leg_basis, nominal, seen
from numpy.testing import assert_allclose
from scipy.linalg import block_diag

from digitise.care.change.align import align_and_solve, mirror
from digitise.care.change.compare import compare
from digitise.care.change.gaussian_factors import SHARED_CORRELATION, condition, shared_factors
from digitise.care.change.likeness import OTHER_LIMB, SAME_LIMB
from digitise.shape.limb import SHARED_ERRORS, SharedErrors, girth

Z = np.array([100.0, 150.0, 400.0])


def test_a_layer_changes_higher_orders_less():
    depth = np.array([0.0, 2.0, 4.0])
    sds = [np.sqrt(np.diag(SAME_LIMB.difference((k,), Z, depth, np.eye(6)))) for k in range(2, 8)]
    for lower, higher in pairwise(sds[:-1]):
        assert np.all(higher < lower)
    assert_allclose(sds[-1], sds[-2])
    # sqrt(d^2 + 1) at each depth, cosine as sine
    assert_allclose(sds[0] / sds[0][0], np.tile(np.sqrt(1 + depth**2), 2))


def test_orders_change_apart_from_each_other():
    depth = np.array([0.0, 2.0, 4.0])
    both = SAME_LIMB.difference((2, 5), Z, depth, np.zeros((12, 12)))
    each = [SAME_LIMB.difference((k,), Z, depth, np.zeros((6, 6))) for k in (2, 5)]
    assert_allclose(both, block_diag(*each))


def test_the_other_limb_differs_by_a_part_of_the_prior_besides():
    prior = np.diag(np.arange(1.0, 7.0))
    more = np.subtract(*(each.difference((3,), Z, np.zeros(3), prior) for each in (OTHER_LIMB, SAME_LIMB)))
    # var(x - y) = 2 (1 - rho) var
    assert_allclose(more, 2 * (1 - OTHER_LIMB.correlation) * prior, atol=1e-12)


def test_shared_errors_are_correlated_as_stated():
    links = shared_factors(np.array([0, 1]), np.array([2, 3]))
    found = condition(np.eye(4), np.zeros(4), links).covariance()
    rho = SHARED_CORRELATION
    assert_allclose(found, np.kron([[1, rho], [rho, 1]], np.eye(2)), atol=1e-12)


HAND_MM = 4.0


@pytest.fixture(scope="module")
def same_hand():
    """Two visits of one leg; with one hand every girth is off by a common 4 mm (sd), and with none."""
    rng = np.random.default_rng(8)
    basis = leg_basis(80, 840, 4)
    limbs = [
        seen(Truth(basis, nominal(basis)), 100.0, 400.0, rng, tape=(130.0, 250.0, 370.0), noise=False)
        for _ in range(2)
    ]
    hand = SHARED_ERRORS.index("tape")
    push = np.zeros((limbs[0].basis.size, len(SHARED_ERRORS)))
    push[: limbs[0].basis.n_splines, hand] = HAND_MM / (2 * np.pi)
    # the error is wholly unknown, and moves the mean radius everywhere: x = x_0 + push e
    off = [
        replace(
            limb,
            covariance=limb.covariance + push @ push.T,
            shared=SharedErrors(np.zeros(len(SHARED_ERRORS)), np.eye(len(SHARED_ERRORS)), push),
        )
        for limb in limbs
    ]
    return limbs, off, [replace(limb, shared=None) for limb in off]


def test_what_both_visits_were_subject_to_cancels(same_hand):
    clean, shared, unshared = same_hand
    at = np.array([250.0])
    sd = [float(compare(*pair, turn=0.0).girths.change_mm.sd[15]) for pair in (clean, shared, unshared)]
    assert girth(shared[0], at).sd > HAND_MM
    # var(e_1 - e_2) = 2 (1 - rho) HAND^2 instead of 2 HAND^2, to what the tie of shapes adds
    assert_allclose(sd[1] ** 2 - sd[0] ** 2, 2 * (1 - SHARED_CORRELATION) * HAND_MM**2, rtol=0.05)
    assert_allclose(sd[2] ** 2 - sd[0] ** 2, 2 * HAND_MM**2, rtol=0.05)


def test_turning_and_mirroring_keep_what_is_shared(same_hand):
    _, (first, second), _ = same_hand
    assert_allclose(mirror(mirror(first)).shared.with_shape, first.shared.with_shape)
    n, size = first.basis.n_splines, first.basis.size
    for turn in (0.0, 0.5):
        spread = align_and_solve(first, second, turn=turn)[1].covariance[
            np.ix_(np.arange(n), size + np.arange(n))
        ]
        # the common part of both visits' mean radii: rho (HAND / 2 pi)^2
        assert np.median(spread) == pytest.approx(SHARED_CORRELATION * (HAND_MM / (2 * np.pi)) ** 2, rel=0.1)
