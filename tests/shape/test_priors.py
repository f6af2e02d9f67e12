"""The stated prior of sections against the body meshes it was fitted to, and its mirror image."""

import numpy as np
from conftest import ROOT
from mesh_limbs import limbs
from numpy.testing import assert_allclose

from digitise.geometry.support import ellipse_overtones, fourier
from digitise.shape import priors
from digitise.shape.basis import Basis

BASIS = Basis.uniform(80, 780, priors.KNOT_SPACING_MM, priors.HARMONICS)


def beyond_ellipses(leg):
    """Orders 2 to 6 of a leg over its mean radius, every 25 mm, as of a left one: heights, (Z, 13)."""
    z = np.arange(leg.low, leg.high, 25.0)
    terms = leg.solids[0].coefficients(z)[:, :13].copy()
    if leg.side == "right":
        for k in range(1, 7):
            terms[:, 2 * k - 1 : 2 * k + 1] *= (-1.0) ** k * np.array([1.0, -1.0])
    second = terms[:, 3] + 1j * terms[:, 4]
    for order, ratio in zip((4, 6), ellipse_overtones(np.abs(second) / terms[:, 0]), strict=True):
        wave = terms[:, 0] * ratio * (second / np.abs(second)) ** (order // 2)
        terms[:, 2 * order - 1] -= wave.real
        terms[:, 2 * order] -= wave.imag
    return z, terms / terms[:, :1]


def test_sizes_and_means_are_those_of_the_legs():
    rows = np.array(priors.LEG.means)
    off = []
    for leg in limbs("leg"):
        z, terms = beyond_ellipses(leg)
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
    second = terms[:, 3] + 1j * terms[:, 4]
    for order, ratio in zip((4, 6), ellipse_overtones(np.abs(second) / terms[:, 0]), strict=True):
        wave = terms[:, 0] * ratio * (second / np.abs(second)) ** (order // 2)
        terms[:, 2 * order - 1] -= wave.real
        terms[:, 2 * order] -= wave.imag
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


def test_nothing_is_expected_of_a_leg_that_lies_or_of_an_arm():
    assert priors.of_limb("leg", "left", standing=False).means == ()
    assert priors.of_limb("arm", "right", standing=True).means == ()
