import dataclasses
from dataclasses import replace

import numpy as np
import pytest
import synthetic
from numpy.testing import assert_allclose
from scipy.integrate import quad

from digitise.anatomy import LimbKind
from digitise.errors import ShapeError
from digitise.geometry.support import area_weights
from digitise.shape import limb as read
from digitise.shape.fit import fit_limb
from digitise.shape.priors import LEG

SOLID = synthetic.EllipticFrustum(0, 800, (40, 50), (70, 60))


@pytest.fixture(scope="module")
def limb():
    views = synthetic.exact_views(SOLID, synthetic.walking_cameras(), 100, 500, step=2)
    return fit_limb(views, prior=replace(LEG, means=())).limb


@pytest.fixture(scope="module")
def draws(limb):
    """4000 limbs from the posterior: (4000, n_terms, n_splines)."""
    rng = np.random.default_rng(3)
    root = np.linalg.cholesky(limb.covariance + 1e-9 * np.eye(limb.basis.size))
    noise = rng.standard_normal((4000, limb.basis.size))
    return (limb.mean + noise @ root.T).reshape(4000, limb.basis.n_terms, -1)


def test_area_is_the_expectation(limb, draws):
    z = np.array([150.0, 300.0, 450.0])
    coefficients = draws @ limb.basis.splines(z).T
    areas = np.einsum("nkz,k->nz", coefficients**2, area_weights(limb.basis.harmonics))
    found = read.area(limb, z)
    # 4000 draws know the mean to sd / 63 and the sd to 1.1 %
    assert_allclose(found.mean, areas.mean(axis=0), atol=4 * found.sd.max() / 63)
    assert_allclose(found.sd, areas.std(axis=0), rtol=0.05)
    plug_in = area_weights(limb.basis.harmonics) @ (limb.mean.reshape(13, -1) @ limb.basis.splines(z).T) ** 2
    # unseen orders take away half of sum (k^2 - 1) of their squared sizes over the radius: 0.3 % for those of
    # orders 3 to 6 of the prior, a little of which is seen
    assert np.all(found.mean < 0.998 * plug_in)


def test_volume_is_the_expectation(limb, draws):
    gram = limb.basis.gram(120, 480)
    weight = area_weights(limb.basis.harmonics)
    volumes = np.einsum("nki,ij,nkj,k->n", draws, gram, draws, weight, optimize=True) / 1000
    found = read.volume(limb, 120, 480)
    assert_allclose(found.mean, volumes.mean(), atol=4 * found.sd / 63)
    assert_allclose(found.sd, volumes.std(), rtol=0.05)


def test_girth_sd_by_sampling(limb, draws):
    girths = 2 * np.pi * draws[:, 0] @ limb.basis.splines(np.array([222.0])).T
    found = read.girth(limb, np.array([222.0]))
    assert_allclose(found.sd, girths.std(), rtol=0.05)


def test_volume_is_the_integral_of_area(limb):
    whole = quad(lambda z: read.area(limb, np.array([z])).mean[0], 133, 456, limit=200)[0] / 1000
    assert_allclose(read.volume(limb, 133, 456).mean, whole, rtol=1e-7)


def test_volumes_of_parts_add_up(limb):
    parts = read.volume(limb, 120, 300).mean + read.volume(limb, 300, 480).mean
    assert_allclose(parts, read.volume(limb, 120, 480).mean, rtol=1e-12)


def test_sections_agree_with_the_functions(limb):
    table = read.sections(limb, 10.0)
    z = np.array([section.height_mm for section in table])
    assert_allclose(z, read.levels(limb, 10.0))
    assert z[0] == limb.from_mm
    assert z[-1] == limb.to_mm
    assert_allclose([section.girth.mean for section in table], read.girth(limb, z).mean)
    assert_allclose([section.area.sd for section in table], read.area(limb, z).sd)
    assert_allclose([section.width.mean for section in table], read.extent(limb, z, 0.0).mean)
    assert_allclose([section.depth.sd for section in table], read.extent(limb, z, np.pi / 2).sd)


def test_radius_is_half_the_width_of_a_centred_limb(limb):
    z = np.array([200.0, 300.0])
    east, west = (read.radius(limb, np.full(2, angle), z) for angle in (0.0, np.pi))
    assert_allclose(east.mean + west.mean, read.extent(limb, z, 0.0).mean)
    assert np.all(east.sd > 0)


def test_levels_keep_odd_ends(limb):
    odd = dataclasses.replace(limb, from_mm=113.0, to_mm=147.5)
    assert_allclose(read.levels(odd, 10.0), [113, 120, 130, 140, 147.5])


@pytest.mark.parametrize("wrong", [{"kind": "tail"}, {"kind": ""}, {"side": "middle"}])
def test_no_other_kind_or_side_passes_for_a_leg_or_an_arm(limb, wrong):
    assert dataclasses.replace(limb, kind="arm").kind is LimbKind.ARM
    with pytest.raises(ValueError, match="is not a valid"):
        dataclasses.replace(limb, **wrong)


def test_interval_is_two_sided():
    low, high = read.Estimate(np.array(10.0), np.array(1.0)).interval_95
    assert_allclose([low, high], [8.04, 11.96], atol=1e-3)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda limb: read.girth(limb, np.array([600.0])), "known from 100 to 500 mm only"),
        (lambda limb: read.volume(limb, 20, 300), "known from 100 to 500 mm only"),
        (lambda limb: read.volume(limb, 300, 200), "from 300 up to 200 mm is empty"),
    ],
)
def test_heights_outside_are_refused(limb, call, message):
    with pytest.raises(ShapeError, match=message):
        call(limb)
