from dataclasses import replace

import numpy as np
import pytest
import synthetic
from numpy.testing import assert_allclose
from solid_limbs import cone_with, limb

from digitise.anatomy import LimbKind
from digitise.errors import ContradictionError
from digitise.shape import fit as shape_fit
from digitise.shape.checks.warn import kind_warnings
from digitise.shape.limb import girth, volume
from digitise.shape.priors import LEG
from digitise.tape.rows import TapeRow

SOLID = synthetic.EllipticFrustum(0, 800, (38, 46), (75, 70))
HEIGHTS = np.array([120.0, 250.0, 380.0, 520.0, 680.0])
# what a tape and a person do to five readings, mm
READING = np.array([1.0, -2.0, 0.5, 2.5, -1.5])


def fit_limb(views, tape=(), **levels):
    """Fit a leg: the frustum stands for one here."""
    return shape_fit.fit_limb(views, tape, prior=replace(LEG, means=()), **levels)


@pytest.fixture(scope="module")
def views():
    return synthetic.exact_views(SOLID, synthetic.walking_cameras(), 80, 720, step=2)


def tape(change=lambda girth: girth):
    girths = change(SOLID.girth(HEIGHTS) + READING)
    return tuple(
        TapeRow(float(z), float(g), line) for line, (z, g) in enumerate(zip(HEIGHTS, girths, strict=True), 2)
    )


def test_good_rows_agree(views):
    fit = fit_limb(views, tape())
    assert [check.verdict for check in fit.tape_checks] == ["agrees"] * 5
    assert fit.warnings == ()
    assert_allclose([check.photo_mm for check in fit.tape_checks], girth(fit.photo_only, HEIGHTS).mean)
    assert_allclose([check.photo_sd_mm for check in fit.tape_checks], girth(fit.photo_only, HEIGHTS).sd)
    for check in fit.tape_checks:
        assert_allclose(check.difference_mm, check.row.girth_mm - check.photo_mm)
        # 2 mm of a row's own reading, and 3 mm of height on a girth that grows by 0.2 to 0.25 mm per mm
        assert 2.0 <= check.sd_mm < 2.2


def test_tape_narrows_the_interval(views):
    fit = fit_limb(views, tape())
    taped = synthetic.of_true_print(fit.limb)
    with_tape, without = girth(taped, HEIGHTS).sd, girth(fit.photo_only, HEIGHTS).sd
    # a row of 2.1 mm and a hand's pull of 1.5 mm on 2.2 mm and more: 1 / sqrt(1 + (2.2 / 2.6)^2) is 0.76
    assert np.all(with_tape < 0.8 * without)


@pytest.mark.parametrize(("row", "wrong"), [(0, 40.0), (2, -45.0), (4, 90.0), (1, 200.0)])
def test_one_wrong_row_is_suspect_and_has_no_pull(views, row, wrong):
    def spoil(girths):
        girths[row] += wrong
        return girths

    fit = fit_limb(views, tape(spoil))
    verdicts = [check.verdict for check in fit.tape_checks]
    assert verdicts[row] == "suspect"
    assert verdicts.count("suspect") == 1
    assert fit.tape_checks[row].row.girth_mm == pytest.approx(
        SOLID.girth(HEIGHTS)[row] + READING[row] + wrong
    )
    assert [warning.code for warning in fit.warnings] == ["tape-row"]
    # what is left of its pull: the photographs' variance there over the misfit, below 1.5 mm
    assert np.abs(girth(fit.limb, HEIGHTS).mean - SOLID.girth(HEIGHTS))[row] < 5
    good = fit_limb(views, tuple(r for i, r in enumerate(tape()) if i != row)).limb
    assert_allclose(girth(fit.limb, HEIGHTS).mean, girth(good, HEIGHTS).mean, atol=1.5)


def test_two_wrong_rows_are_both_found(views):
    def swap(girths):
        girths[[1, 3]] = girths[[3, 1]]
        return girths

    fit = fit_limb(views, tape(swap))
    verdicts = [check.verdict for check in fit.tape_checks]
    assert verdicts[1] == verdicts[3] == "suspect"
    assert verdicts.count("suspect") == 2
    # one slip of the pen is told once, with what would undo it
    assert [warning.code for warning in fit.warnings] == ["tape-slip"]
    first, second = (f"{round(row.girth_mm, 1):g} mm" for row in (tape()[1], tape()[3]))
    assert f"Likely two rows exchanged: {first} and {second} would fit" in fit.warnings[0].text


def test_two_digits_exchanged_are_told_beside_a_row_that_nothing_explains(views):
    def spoil(girths):
        girths = np.round(girths)
        girths[3] = int("{0}{2}{1}".format(*f"{girths[3]:.0f}"))
        girths[1] += 57.0
        return girths

    meant, fit = round(tape()[3].girth_mm), fit_limb(views, tape(spoil))
    assert [warning.code for warning in fit.warnings] == ["tape-slip", "tape-row"]
    assert f"Likely two digits exchanged: {meant} mm would fit" in fit.warnings[0].text
    assert f"The tape at {tape()[1].height_mm:.0f} mm" in fit.warnings[1].text


@pytest.mark.parametrize("ratio", [1.025, 0.975])
def test_a_wrong_scale_is_told_apart_from_wrong_rows(views, ratio):
    fit, sound = fit_limb(views, tape(lambda girths: girths * ratio)), fit_limb(views, tape())
    codes = [warning.code for warning in fit.warnings]
    assert codes[0] == "scale"
    assert f"{100 * (ratio - 1):+.1f} %" in fit.warnings[0].text
    assert "suspect" not in [check.verdict for check in fit.tape_checks]
    # either scale may be the wrong one: the interval reaches the volume at both, twice 2.5 % apart
    found, right = (volume(one.limb, one.limb.from_mm, one.limb.to_mm) for one in (fit, sound))
    low, high = found.interval_95
    assert low < right.mean < high
    assert low < right.mean * ratio**2 < high


@pytest.mark.parametrize("ratio", [1.05, 0.95])
def test_a_scale_that_is_far_off_is_refused(views, ratio):
    with pytest.raises(ContradictionError, match="All tape rows read"):
        fit_limb(views, tape(lambda girths: girths * ratio))


def test_the_slip_that_would_explain_refused_rows_is_said(views):
    with pytest.raises(ContradictionError, match="inches") as refused:
        fit_limb(views, tape(lambda girths: girths / 2.54))
    assert "All tape rows read -6" in refused.value.what
    # rows of which some read too much and some too little do not "all" read one way
    with pytest.raises(ContradictionError, match="tape row"):
        fit_limb(views, tape(lambda girths: girths[::-1]))


def test_an_arm_longer_than_arms_is_doubted():
    """What is called an arm and reaches 80 cm above the mat is a leg; one that lies has another height 0."""
    long = limb(cone_with(), high=800.0, kind="arm")
    assert [warning.code for warning in kind_warnings(long)] == ["limb-kind"]
    for other in (
        replace(long, kind=LimbKind.LEG),
        replace(long, lying="palm-up"),
        replace(long, to_mm=500.0),
    ):
        assert kind_warnings(other) == ()


def test_scale_of_one_percent_is_not_called(views):
    fit = fit_limb(views, tape(lambda girths: girths * 1.01))
    assert fit.warnings == ()


def test_rows_outside_are_named_and_not_used(views):
    outside = (TapeRow(30.0, 250.0), *tape(), TapeRow(800.0, 480.0))
    fit = fit_limb(views, outside)
    verdicts = [check.verdict for check in fit.tape_checks]
    assert verdicts == ["not seen", *["agrees"] * 5, "not seen"]
    assert [warning.code for warning in fit.warnings] == ["tape-unseen"] * 2
    assert_allclose(fit.limb.mean, fit_limb(views, tape()).limb.mean)


def test_without_tape_photographs_stand_alone(views):
    fit = fit_limb(views)
    assert fit.tape_checks == ()
    assert_allclose(fit.limb.mean, fit.photo_only.mean)


@pytest.mark.parametrize("ratio", [1.0147, 0.9853])
def test_a_scale_between_is_hinted_at(views, ratio):
    fit = fit_limb(views, tape(lambda girths: girths * ratio))
    (told,) = fit.warnings
    assert told.code == "scale-unsure"
    assert told.text.startswith(f"All tape rows read {ratio - 1:+.0%}"[:-2])


CALF = synthetic.HarmonicSolid.through(
    np.array([0.0, 100.0, 200.0, 320.0, 430.0, 500.0, 600.0, 800.0]),
    np.array([[38.0], [37.0], [46.0], [59.0], [53.0], [54.0], [62.0], [82.0]]),
)


@pytest.mark.parametrize("off", [-20.0, 20.0])
def test_heights_that_are_all_off_alike_are_told_and_do_not_bend_the_limb(off):
    """Girths grow up to the calf and shrink above it: neither a pull nor a print's scale does that."""
    seen = synthetic.exact_views(CALF, synthetic.walking_cameras(), 80, 720, step=2)
    rows = [
        TapeRow(float(z + off), float(g)) for z, g in zip(HEIGHTS, CALF.girth(HEIGHTS) + READING, strict=True)
    ]
    fit = fit_limb(seen, tuple(rows), from_mm=100.0, to_mm=700.0)
    (told,) = [warning.text for warning in fit.warnings if warning.code == "tape-heights"]
    # READING moves it by some 2 mm / 0.5 mm per mm
    said = float(told.split("heights are ")[1].split(" mm")[0])
    assert said == pytest.approx(abs(off), abs=4.0)
    assert ("less" if off > 0 else "more") in told
    assert [check.verdict for check in fit.tape_checks] == ["agrees"] * 5
    low, high = volume(fit.limb, 100.0, 700.0).interval_95
    assert low < CALF.volume(100.0, 700.0) < high


def test_heights_that_are_right_are_not_doubted():
    seen = synthetic.exact_views(CALF, synthetic.walking_cameras(), 80, 720, step=2)
    rows = [TapeRow(float(z), float(g)) for z, g in zip(HEIGHTS, CALF.girth(HEIGHTS) + READING, strict=True)]
    assert fit_limb(seen, tuple(rows), from_mm=100.0, to_mm=700.0).warnings == ()
