"""Standing legs are taken for whole legs, and what is unlike them is not held to them."""

from dataclasses import replace

import numpy as np
import pytest
import synthetic
from change_study import fitted
from mesh_limbs import AS_MEASURED, limbs
from prior_limbs import draw_limb

from digitise.shape import priors
from digitise.shape.fit import fit_limb
from digitise.shape.limb import girth, volume

# by which nothing but the number of ways of differing was chosen
KEPT = [replace(leg, solids=leg.solids[:1]) for leg in limbs("pair")[30:36]]


def known_as_whole(limb):
    """Whether the limb was measured as a whole leg: only of these a size is expected."""
    return bool(np.any(limb.prior_mean[: limb.basis.n_splines] != 0.0))


def girth_error(leg, limb):
    """Error (Z,) of the girths from end to end, mm, and their sd."""
    z = np.arange(leg.low + 10, leg.high - 9, 10.0)
    found = girth(limb, z)
    return found.mean - leg.solids[0].girth(z), found.sd


def test_kept_legs_are_known_better_as_wholes():
    whole, apart = [], []
    for leg in KEPT:
        (limb,) = fitted(leg, AS_MEASURED)
        assert known_as_whole(limb)
        off, sd = girth_error(leg, limb)
        assert np.mean(np.abs(off) < 1.96 * sd) > 0.8
        whole.append(off)
        any_leg = priors.of_limb("leg", leg.side, standing=True)
        apart.append(girth_error(leg, *fitted(leg, AS_MEASURED, any_leg))[0])
    rms = [np.sqrt(np.mean(np.concatenate(each) ** 2)) for each in (whole, apart)]
    # by a fifth on 36 legs
    assert rms[0] < 0.9 * rms[1]


@pytest.mark.parametrize("seed", range(3))
def test_a_limb_unlike_whole_legs_is_not_held_to_them(seed):
    rng = np.random.default_rng(seed)
    solid = draw_limb(rng)
    limb = fit_limb(synthetic.exact_views(solid, synthetic.walking_cameras((90.0, 0.0)), 62, 438)).limb
    assert not known_as_whole(limb)
    low, high = volume(limb, 100, 400).interval_95
    assert low < solid.volume(100, 400) < high
