"""What a limb's prior says at some heights, against the covariances it was made of."""

import dataclasses

import numpy as np
from drawn_limbs import Truth, leg_basis, nominal, seen
from numpy.testing import assert_allclose

from digitise.care.change.gaussian_factors import anatomy_prior
from digitise.care.change.motion import turned
from digitise.shape import priors

HEIGHTS = np.array([120.0, 200.0, 333.0, 470.0])


def leg():
    basis = leg_basis(80, 640)
    return seen(Truth(basis, nominal(basis)), 100.0, 600.0, np.random.default_rng(2), noise=False)


def known_as_a_whole():
    """A leg that was measured with the prior of whole legs; that prior, and the radius it was stated for."""
    limb = leg()
    basis = limb.basis
    legs, radius = priors.of_whole_legs("left"), nominal(basis)[0]
    mean = priors.mean(legs, basis, nominal(basis).ravel())
    precision = priors.precision(legs, basis, radius)
    return dataclasses.replace(limb, prior_mean=mean, prior_precision=precision), legs, radius


def test_it_is_what_modes_and_rest_make_together():
    limb, legs, radius = known_as_a_whole()
    basis, found = limb.basis, anatomy_prior(limb, HEIGHTS)
    first = 3 * basis.n_splines
    rest = priors.precision(dataclasses.replace(legs, shapes=None), basis, radius)[first:, first:]
    modes = legs.shapes.on(basis)[1][first:]
    here = np.kron(np.eye(10), basis.splines(HEIGHTS))
    expected = here @ (np.linalg.inv(rest) + modes @ modes.T) @ here.T
    # 0.1 um: the diagonal is some square millimetres
    assert_allclose(np.linalg.inv(found.precision), expected, atol=1e-4)
    # cosines of order 2 at all heights, then its sines, then order 3
    assert_allclose(found.mean, here @ limb.prior_mean[first:])


def test_some_orders_alone_are_what_is_left_when_nothing_is_known_of_the_others():
    every = anatomy_prior(known_as_a_whole()[0], HEIGHTS)
    some = every.of((2, 4))
    kept = np.r_[0:8, 16:24]
    spread = np.linalg.inv(every.precision)[np.ix_(kept, kept)]
    assert_allclose(np.linalg.inv(some.precision), spread, rtol=1e-6, atol=1e-9)
    assert_allclose(some.mean, every.mean[kept])


def test_a_turned_prior_is_that_of_the_turned_limb():
    limb = known_as_a_whole()[0]
    turn = 0.3
    there = dataclasses.replace(limb, prior_mean=turned(limb.basis, turn, limb.prior_mean))
    found, expected = anatomy_prior(limb, HEIGHTS).turned(turn), anatomy_prior(there, HEIGHTS)
    assert_allclose(found.mean, expected.mean, atol=1e-9)
    assert found.faces


def test_limbs_that_may_face_anywhere_do_not_tell_a_turn():
    limb = leg()
    precision = priors.precision(priors.ARM, limb.basis, nominal(limb.basis)[0])
    assert not anatomy_prior(dataclasses.replace(limb, prior_precision=precision), HEIGHTS).faces
