"""Noise at the stated level shows at most one false region in a hundred limbs."""

import numpy as np
import pytest
from scipy.stats import binom
from solid_limbs import belief, cone_with, limb

from digitise.care.padding.maps import Difference, Limits, difference_search, own_searches
from digitise.care.padding.noise import DRAWS, FALSE_SHARE, noisy_map, tail_quantile
from digitise.care.padding.regions import find_regions
from digitise.care.surface.chart import draw_coefficients, limb_chart
from digitise.care.surface.taper import outer_lift, sagitta
from digitise.geometry.support import fourier

AT_MOST = 0.01
# the step of a cone is its taper and no noise; all other thresholds are far below the noise's own
ONLY_NOISE = Limits(bulge_mm=0.3, difference_mm=0.1, hollow_mm=0.3, crease_mm=0.3, fall_mm=0.3)


@pytest.mark.slow
@pytest.mark.parametrize("directions", [(0, 90), (0, 45, 90, 135)])
def test_noise_alone_lists_at_most_one_in_a_hundred(directions, rng):
    root = np.linalg.cholesky(belief(directions=directions)[1])
    shape, usual = cone_with(), {"bulge": 5.0, "hollow": 6.0, "crease": 3.0, "inverted taper": 15.0}
    limbs, listed, beyond_usual = 300, 0, 0
    for _ in range(limbs):
        drawn = limb(shape, directions=directions, deviation=root @ rng.standard_normal(len(root)))
        found = find_regions(drawn, limits=ONLY_NOISE)
        listed += len(found) > 0
        beyond_usual += any(one.peak_mm > usual[one.kind] for one in found)
    # at one in a hundred more than 7 of 300 come by chance once in 80 times: a coarse look at the whole;
    # the share itself is counted below
    assert listed <= binom.ppf(0.98, limbs, AT_MOST)
    assert beyond_usual <= 1


@pytest.mark.slow
@pytest.mark.parametrize("directions", [(0, 90), (0, 45, 90, 135)])
def test_dips_of_noise_alone_go_beyond_it_in_the_share_that_is_meant(directions, rng):
    """The maps whose noise is not normal, computed as for a limb: every chord, every column."""
    shape = limb(cone_with(), directions=directions)
    chart = limb_chart(shape)
    searches = {one.kind: one for one in own_searches(shape, chart, ONLY_NOISE)}
    terms, step = fourier(chart.theta, shape.basis.harmonics), float(chart.z[1] - chart.z[0])
    rows, draws, beyond = round(30 / step), 250, []
    for seed in rng.integers(1000, 10**6, 40):
        h = chart.h + draw_coefficients(shape, chart.z, draws, int(seed)) @ terms.T
        for kind, dips in (("hollow", outer_lift(h, step)), ("crease", sagitta(h, rows))):
            one = searches[kind]
            beyond.append((dips > one.critical * one.map.sd).any(axis=(1, 2)))
    either = np.logical_or(beyond[::2], beyond[1::2])
    # of 10000 the share is known to a thousandth, and it may be a tenth off what is meant
    assert FALSE_SHARE / 2 <= either.mean() <= AT_MOST + 0.002


def smooth_noise(count, rng, rows=40, columns=24):
    """Draws (count, rows, columns) of unit noise, alike over some 4 rows and 3 columns, closed both ways."""
    row, column = np.minimum(np.arange(rows), rows - np.arange(rows)), np.arange(columns)
    column = np.minimum(column, columns - column)
    kernel = np.exp(-0.5 * (row[:, None] / 4.0) ** 2 - 0.5 * (column / 3.0) ** 2)
    gain = np.abs(np.fft.fft2(kernel)) / np.sqrt(np.sum(kernel**2))
    white = rng.standard_normal((count, rows, columns))
    return np.fft.ifft2(np.fft.fft2(white) * gain).real


def test_multiplier_from_few_draws_holds_its_share(rng):
    many = np.concatenate([smooth_noise(5000, rng).reshape(5000, -1).max(axis=1) for _ in range(8)])
    shares = []
    for _ in range(10):
        few = smooth_noise(DRAWS, rng)
        q = tail_quantile(noisy_map(np.zeros(few.shape[1:]), few).greatest, FALSE_SHARE)
        shares.append(np.mean(many > q))
    # the size of the tail comes from 90 draws beyond the bound: a tenth; 320 of 40000 go beyond: 6 %
    assert np.mean(shares) == pytest.approx(FALSE_SHARE, rel=0.15)
    assert max(shares) <= AT_MOST * 1.1


def test_draw_does_not_have_a_say_in_its_own_scale():
    deviation = np.zeros((5, 1, 1))
    deviation[:, 0, 0] = [1.0, -1.0, 1.0, -1.0, 4.0]
    noisy = noisy_map(np.zeros((1, 1)), deviation)
    assert noisy.greatest[-1] == pytest.approx(4.0)
    assert noisy.sd[0, 0] == pytest.approx(2.0)


def test_noise_between_two_limbs_goes_beyond_it_in_one_of_a_hundred():
    shape = limb(cone_with(), directions=(0, 90))
    chart = limb_chart(shape)
    terms = fourier(chart.theta, shape.basis.harmonics)
    drawn = draw_coefficients(shape, chart.z, DRAWS, 11) @ terms.T
    noise = draw_coefficients(shape, chart.z, 2000, 12) @ terms.T
    sd = np.std(drawn, axis=0)
    beyond = 0
    for dh in noise:
        found = Difference("the other leg", chart.theta, chart.z, dh, sd, drawn[:, :, ::2])
        if beyond == 0:
            search = difference_search(chart, found, ONLY_NOISE)
        beyond += bool((dh > search.critical * search.map.sd).any())
    # 8 in 1000 are meant: 16 of 2000, give or take 4
    assert 4 <= beyond <= AT_MOST * len(noise) * 1.3


def test_differences_share_the_one_in_a_hundred(monkeypatch):
    from digitise.care.padding import regions

    shares = []

    def own(limb, chart, limits, share):
        shares.append(share)
        return ()

    monkeypatch.setattr(regions, "own_searches", own)
    shape = limb(cone_with())
    chart = limb_chart(shape)
    one = Difference("the other leg", chart.theta, chart.z, 0 * chart.h, 0 * chart.h + 1)
    find_regions(shape)
    find_regions(shape, (one,))
    assert shares == [FALSE_SHARE, FALSE_SHARE / 2]
