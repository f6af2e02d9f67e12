"""Worked values of each formula, and intervals against sampling."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq

from digitise.care import excess as ex
from digitise.errors import ModelError
from digitise.shape.limb import Z95, Estimate


def volumes(*means, sd=10.0):
    return ex.Volumes.apart(*(Estimate(np.asarray(m), np.asarray(sd)) for m in means))


# worked by hand: V_aff 9200 -> 8600, V_ref 8000 -> 7950; arms 2400 -> 2700 and 2350 -> 2400; 70 -> 77 kg
@pytest.mark.parametrize(
    ("formula", "means", "value", "tolerance"),
    [
        (ex.excess_volume, (9200, 8000), 1200, 0),
        (ex.excess_volume, (8600, 7950), 650, 0),
        (ex.percent_excess, (9200, 8000), 15.0, 1e-12),
        (ex.percent_excess, (8600, 7950), 8.176, 5e-4),
        (ex.percent_reduction_current_reference, (9200, 8000, 8600, 7950), 45.833, 5e-4),
        (ex.percent_reduction_fixed_reference, (9200, 8000, 8600), 50.0, 1e-12),
        (ex.percent_limb_change, (9200, 8600), -6.522, 5e-4),
    ],
)
def test_worked_values(formula, means, value, tolerance):
    assert_allclose(formula(volumes(*means)).mean, value, atol=tolerance, rtol=0)


@pytest.mark.parametrize(
    ("formula", "means"),
    [
        (ex.excess_volume, (9200, 8000)),
        (ex.percent_excess, (9200, 8000)),
        (ex.percent_reduction_current_reference, (9200, 8000, 8600, 7950)),
        (ex.percent_reduction_fixed_reference, (9200, 8000, 8600)),
        (ex.percent_limb_change, (9200, 8600)),
    ],
)
def test_sd_against_sampling(formula, means, rng):
    n = len(means)
    # errors of 0.2-0.4 %, half of them shared, so that the first order is all there is to within 2 %
    covariance = 8.0**2 * (0.5 * np.eye(n) + 0.5)
    found = formula(ex.Volumes(np.array(means, float), covariance))
    draws = rng.multivariate_normal(means, covariance, 4000)
    values = [float(formula(ex.Volumes(draw, np.zeros((n, n)))).mean) for draw in draws]
    # 4000 draws know an sd to 1.1 %
    assert_allclose(found.sd, np.std(values), rtol=0.05)


def test_correlated_errors_cancel():
    apart = ex.Volumes(np.array([9200.0, 8000.0]), np.diag([100.0**2, 100.0**2]))
    alike = ex.Volumes(apart.mean, 100.0**2 * np.array([[1, 0.8], [0.8, 1]]))
    assert_allclose(ex.excess_volume(alike).sd / ex.excess_volume(apart).sd, np.sqrt(0.2), rtol=1e-12)


def test_visits_follow_one_another():
    both = volumes(9200, 8000).then(volumes(8600, 7950))
    assert_allclose(both.mean, [9200, 8000, 8600, 7950])
    assert_allclose(both.covariance, 100 * np.eye(4))


def test_both_limbs_swollen_hides_percentages():
    one, both = (ex.excess(volumes(9200, 8000), bilateral=flag) for flag in (False, True))
    assert_allclose(one.percent.mean, 15.0)
    assert one.note == ""
    assert both.percent is None
    assert "percentages" in both.note
    assert both.excess_ml == one.excess_ml


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ex.percent_excess(volumes(9200, 0)), "zero or less"),
        (lambda: ex.percent_reduction_fixed_reference(volumes(8010, 8000, 7990)), "not surely above zero"),
        (
            lambda: ex.percent_reduction_current_reference(volumes(7900, 8000, 7990, 8000)),
            "not surely above zero",
        ),
    ],
)
def test_bad_input(call, words):
    with pytest.raises(ModelError, match=words):
        call()


def test_wrong_number_of_volumes():
    with pytest.raises(ValueError, match="expected 4 volumes"):
        ex.percent_reduction_current_reference(volumes(1, 2))


def test_the_interval_of_a_reduction_is_fiellers():
    """Its ends solve ``|N - r D| = 1.96 sd(N - r D)``; the sd reaches to the farther of both."""
    means = np.array([8500.0, 8000.0, 8300.0, 8000.0])
    sd = 0.014 * means
    found = ex.percent_reduction_current_reference(ex.Volumes(means, np.diag(sd**2)))

    def beyond(ratio):
        row = np.array([-ratio, ratio, 1.0, -1.0])
        return (row @ means) ** 2 - Z95**2 * np.sum((row * sd) ** 2)

    middle = 300.0 / 500.0
    ends = [brentq(beyond, *each) for each in ((-50.0, middle), (middle, 50.0))]
    farther = max(abs(end - middle) for end in ends)
    assert Z95 * found.sd == pytest.approx(100 * farther, rel=1e-9)
    assert found.mean == pytest.approx(40.0)


def test_unchanged_excess_is_seldom_called_reduced(rng):
    """5 % is what chance may do, all on one side where the excess at baseline is small.

    Of 6,000 draws 2,700 or more show a figure, which know that to 0.42 %.
    """
    for excess in (300.0, 400.0, 800.0):
        means = np.array([8000.0 + excess, 8000.0, 8000.0 + excess, 8000.0])
        sd = 0.014 * means
        shown = reduced = 0
        for draw in rng.normal(means, sd, (6_000, 4)):
            if draw[0] - draw[1] <= Z95 * np.hypot(sd[0], sd[1]):
                continue
            shown += 1
            found = ex.percent_reduction_current_reference(ex.Volumes(draw, np.diag(sd**2)))
            reduced += found.mean > Z95 * found.sd
        assert reduced / shown < 0.05 + 3 * 0.0042
