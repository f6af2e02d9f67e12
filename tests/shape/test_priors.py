"""The stated prior of sections against the body meshes it was fitted to, and its mirror image."""

import dataclasses

import numpy as np
import pytest
from conftest import ROOT
from hypothesis import given
from hypothesis import strategies as st
from leg_shapes_fit import EXACT_MM, beyond, beyond_ellipses
from mesh_limbs import limbs
from numpy.testing import assert_allclose

from digitise.geometry.support import fourier, mirrored_signs
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.standing.leg_shapes import standing_left_leg

BASIS = Basis.uniform(80, 780, priors.KNOT_SPACING_MM, priors.HARMONICS)


def as_left(leg, step_mm):
    """Orders 0 to 6 of a leg, as of a left one: heights, (Z, 13)."""
    z = np.arange(leg.low, leg.high, step_mm)
    terms = leg.solids[0].coefficients(z)[:, :13]
    return z, terms * (mirrored_signs(6) if leg.side == "right" else 1.0)


def test_sizes_and_means_are_those_of_the_legs():
    rows = np.array(priors.LEG.means)
    off = []
    for leg in limbs("leg"):
        z, terms = as_left(leg, 25.0)
        terms = beyond_ellipses(terms) / terms[:, :1]
        for place, column in zip((4, 5, 6, 7, 8), rows.T[1:], strict=True):
            terms[:, place] -= np.interp(z, rows[:, 0], column)
        off.append(terms[:, 3:])
    found = np.sqrt(np.mean(np.vstack(off) ** 2, axis=0)).reshape(5, 2)
    stated = np.array(priors.LEG.amplitude)
    # where a mean was taken off, the rest is stated a fifth larger: sine of order 2, whole orders 3 and 4
    wider = [1.0, 1.2, 1.2, 1.2, 1.0, 1.0]
    sizes = [[*pairs[0], *np.hypot(*pairs[1:].T)] for pairs in (found, stated)]
    # both are rounded to a twentieth at most
    assert_allclose(np.multiply(wider, sizes[0]), sizes[1], rtol=0.1)


def test_sizes_for_arms_are_a_fifth_larger_than_those_of_the_arms():
    with np.load(ROOT / "tests/data/limbs/arms-lying.npz") as file:
        terms, counts = file["sections"] / 100.0, file["limbs"][:, 4]
    terms = beyond_ellipses(terms)
    each = np.split(terms[:, 3:13] / terms[:, :1], np.cumsum(counts)[:-1])
    squares = np.mean([np.mean(arm**2, axis=0) for arm in each], axis=0)
    found = np.sqrt(squares.reshape(5, 2).sum(axis=1))
    # stated to two figures
    assert_allclose(np.hypot(*np.array(priors.ARM.amplitude).T), 1.2 * found, rtol=0.03)


def expected(side, directions, z):
    """What is expected of a round leg: h at (T,) directions and one height."""
    round_leg = np.zeros(BASIS.size)
    round_leg[: BASIS.n_splines] = 60.0
    mean = priors.mean(priors.of_limb("leg", side, standing=True), BASIS, round_leg)
    terms = mean.reshape(BASIS.n_terms, -1) @ BASIS.splines(np.array([z])).T
    return fourier(directions, BASIS.harmonics) @ terms[:, 0]


def test_the_other_side_is_mirrored():
    directions = np.radians(np.arange(0.0, 360, 17))
    for z in (120.0, 300.0, 520.0):
        left, right = expected("left", directions, z), expected("right", np.pi - directions, z)
        assert np.ptp(left) > 0.5
        assert_allclose(right, left, atol=1e-12)


def test_the_rest_beside_whole_legs_is_a_fifth_larger_than_that_of_the_legs():
    shapes = standing_left_leg()
    rest = []
    for leg in limbs("leg"):
        z, terms = as_left(leg, 20.0)
        terms = beyond(terms)
        exact = np.tile(EXACT_MM, len(z))
        at = [
            np.array([np.interp(z, shapes.height_mm, row) for row in each]).T.ravel() / exact
            for each in (shapes.mean_mm, *shapes.modes_mm)
        ]
        ways, off = np.array(at[1:]).T, terms.ravel() / exact - at[0]
        # each way has unit sd beforehand
        weight = np.linalg.solve(np.eye(ways.shape[1]) + ways.T @ ways, ways.T @ off)
        left = (off - ways @ weight) * exact
        rest.append(left.reshape(-1, 13)[:, 3:] / terms[:, :1])
    found = np.sqrt(np.mean(np.vstack(rest) ** 2, axis=0)).reshape(5, 2)
    stated = np.array(priors.STANDING_LEG.amplitude)
    sizes = [np.array([*pairs[0], *np.hypot(*pairs[1:].T)]) for pairs in (found, stated)]
    assert_allclose(1.2 * sizes[0], sizes[1], rtol=0.1)


def radius_of(places):
    return 50.0 + 20.0 * np.sin(places / 200.0)


def test_whole_legs_are_what_the_modes_add_to_the_rest():
    legs = priors.of_whole_legs("right")
    radius = radius_of(BASIS.places)
    rest = priors.precision(dataclasses.replace(legs, shapes=None), BASIS, radius)
    modes = legs.shapes.on(BASIS)[1]
    found = priors.precision(legs, BASIS, radius)
    # orders 2 and up, of which nothing is free: their covariance is that of the rest and of the modes
    n = 3 * BASIS.n_splines
    alone = found[n:, n:] - found[n:, :n] @ np.linalg.pinv(found[:n, :n], rcond=1e-9) @ found[:n, n:]
    assert_allclose(
        np.linalg.inv(alone), np.linalg.inv(rest[n:, n:]) + modes[n:] @ modes[n:].T, rtol=1e-4, atol=1e-4
    )
    # straight lines of radius and centre stay free
    line = np.zeros((BASIS.n_terms, BASIS.n_splines))
    line[:3] = np.outer([1.0, 2.0, -1.0], 60.0 + BASIS.places / 10)
    size = np.abs(found) @ np.abs(line.ravel())
    assert np.all(np.abs(found @ line.ravel()) < 1e-9 * size.max())


def test_the_determinant_is_that_of_the_precision():
    radius = radius_of(BASIS.places)
    for prior in (priors.LEG, priors.of_whole_legs("left")):
        spectrum = np.linalg.eigvalsh(priors.precision(prior, BASIS, radius))
        # two straight lines of each of three terms are free
        expected = np.sum(np.log(spectrum[6:]))
        assert priors.log_determinant(prior, BASIS, radius) == pytest.approx(expected, abs=1e-3)


@given(st.floats(60.0, 500.0), st.floats(80.0, 360.0))
def test_shapes_are_laid_on_splines_as_they_are(low, length):
    shapes = standing_left_leg()
    basis = Basis.uniform(low, low + length, priors.KNOT_SPACING_MM, priors.HARMONICS)
    mean, modes = shapes.on(basis)
    for stated, laid in ((shapes.mean_mm, mean), (shapes.modes_mm[3], modes[:, 3])):
        found = basis.sections(laid, basis.places)
        inside = basis.places <= shapes.height_mm[-1]
        expected = [np.interp(basis.places, shapes.height_mm, row) for row in stated]
        assert_allclose(found[inside], np.transpose(expected)[inside], atol=1e-9)


def test_nothing_is_expected_of_a_leg_that_lies_or_of_an_arm():
    assert priors.of_limb("leg", "left", standing=False).means == ()
    assert priors.of_limb("arm", "right", standing=True).means == ()
