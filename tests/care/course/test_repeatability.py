"""Agreement and repeatability against published tables, an independent library and closed forms."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from digitise.care.course.icc import FORM_WORDS, anova, icc
from digitise.care.course.repeatability import (
    bland_altman,
    mdc95,
    repeatability,
    tem,
)
from digitise.errors import CourseError
from digitise.shape.limb import Z95

# Peak expiratory flow, L/min, two readings with each of two meters: Bland and Altman 1986, Lancet i:307-310.
LARGE = (
    [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427],
    [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421],
)
MINI = (
    [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451],
    [525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443],
)
# Six targets rated by four judges: Shrout and Fleiss 1979, Psychol Bull 86:420-428.
JUDGED = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
LIMBS = [
    [7409, 7340, 7150],
    [6731, 6976, 6794],
    [7638, 7810, 7653],
    [8328, 8379, 8291],
    [9067, 9057, 8945],
    [8132, 8205, 7937],
    [7482, 7464, 7459],
    [7191, 7335, 7261],
    [8650, 8630, 8612],
]
NOISE = [
    [89.1, 86.4, 102.2],
    [88.9, 111.7, 107.2],
    [80.0, 102.7, 89.0],
    [100.3, 100.4, 80.1],
    [97.7, 97.4, 109.6],
    [88.2, 107.4, 89.0],
    [96.7, 91.6, 114.5],
]
# Half the last printed digit of the tables below.
FOUR_DIGITS = 5.1e-5
PRINTED = 1.96 / Z95  # papers round the 97.5 % point to two decimals
SIX_DIGITS = 5.1e-7


def test_limits_of_agreement_of_the_peak_flow_meters():
    found = bland_altman(LARGE[0], MINI[0], width=1.96)
    assert found.n == 17
    assert found.bias == pytest.approx((-2.1176, -22.0488, 17.8135), abs=FOUR_DIGITS)
    assert found.sd == pytest.approx(38.7651, abs=FOUR_DIGITS)
    assert (found.lower.value, found.upper.value) == pytest.approx((-78.0973, 73.8620), abs=FOUR_DIGITS)
    paper = bland_altman(LARGE[0], MINI[0], width=2.0)
    assert paper.lower == pytest.approx((-79.6479, -114.1697, -45.1261), abs=FOUR_DIGITS)
    # the table has t rounded to 2.1199: 16.2846 * 5e-6 more
    assert paper.upper == pytest.approx((75.4126, 40.8908, 109.9345), abs=FOUR_DIGITS + 8.5e-5)


@pytest.mark.parametrize(
    ("meter", "mean", "sd", "error", "percent", "change"),
    [
        (LARGE, 4.9412, 21.7240, 15.3067, 3.4176, 42.4279),
        (MINI, -2.8824, 28.8723, 19.9108, 4.3865, None),
    ],
)
def test_repeatability_of_the_peak_flow_meters(meter, mean, sd, error, percent, change):
    pairs = bland_altman(*meter)
    assert (pairs.bias.value, pairs.sd) == pytest.approx((mean, sd), abs=FOUR_DIGITS)
    assert tem(*meter) == pytest.approx((error, percent), abs=FOUR_DIGITS)
    found = repeatability(list(zip(*meter, strict=True)))
    assert (found.groups, found.measurements) == (17, 34)
    # of pairs, the pooled sd within groups is the technical error
    assert found.tem == pytest.approx(tem(*meter))
    assert found.sem.value == pytest.approx(error, abs=FOUR_DIGITS)
    assert found.second_minus_first is not None
    assert found.second_minus_first.bias.value == pytest.approx(-mean, abs=FOUR_DIGITS)
    if change is not None:
        assert found.mdc95 * PRINTED == pytest.approx(change, abs=FOUR_DIGITS)
        assert found.icc["ICC(2,1)"].value == pytest.approx(0.983164, abs=SIX_DIGITS)
        assert found.icc["ICC(3,1)"].value == pytest.approx(0.983046, abs=SIX_DIGITS)


def test_sums_of_squares_of_the_judged_targets():
    table = anova(JUDGED)
    sums = (table.ss_subjects, table.ss_measurements, table.ss_error)
    assert sums == pytest.approx((56.2083, 97.4583, 15.2917), abs=FOUR_DIGITS)
    squares = (table.bms, table.wms, table.jms, table.ems)
    assert squares == pytest.approx((11.2417, 6.2639, 32.4861, 1.0194), abs=FOUR_DIGITS)


# Intervals: pingouin 0.7.0, intraclass_corr with CI95 rounded to six decimals.
@pytest.mark.parametrize(
    ("scores", "intervals"),
    [
        (
            JUDGED,
            {
                "ICC(1,1)": (-0.132932, 0.722560),
                "ICC(2,1)": (0.018787, 0.761084),
                "ICC(3,1)": (0.342465, 0.945858),
                "ICC(1,k)": (-0.884442, 0.912415),
                "ICC(2,k)": (0.071137, 0.927232),
                "ICC(3,k)": (0.675675, 0.985892),
            },
        ),
        (
            LIMBS,
            {
                "ICC(1,1)": (0.953155, 0.996022),
                "ICC(2,1)": (0.934995, 0.996349),
                "ICC(3,1)": (0.969271, 0.997541),
                "ICC(1,k)": (0.983882, 0.998670),
                "ICC(2,k)": (0.977350, 0.998780),
                "ICC(3,k)": (0.989543, 0.999179),
            },
        ),
        (
            NOISE,
            {
                "ICC(1,1)": (-0.375490, 0.440049),
                "ICC(2,1)": (-0.370094, 0.455529),
                "ICC(3,1)": (-0.378372, 0.457587),
                "ICC(1,k)": (-4.523594, 0.702169),
                "ICC(2,k)": (-4.273397, 0.715094),
                "ICC(3,k)": (-4.666341, 0.716781),
            },
        ),
    ],
    ids=["judged", "limbs", "noise"],
)
def test_intervals_of_the_correlations_as_an_independent_library_has_them(scores, intervals):
    found = icc(anova(scores))
    assert set(found) == set(FORM_WORDS)
    for name, ends in intervals.items():
        assert found[name][1:] == pytest.approx(ends, abs=SIX_DIGITS), name


def test_correlations_of_the_judged_targets():
    found = {name: value.value for name, value in icc(anova(JUDGED)).items()}
    assert found == pytest.approx(
        {
            "ICC(1,1)": 0.165742,
            "ICC(2,1)": 0.289764,
            "ICC(3,1)": 0.714841,
            "ICC(1,k)": 0.442797,
            "ICC(2,k)": 0.620051,
            "ICC(3,k)": 0.909316,
        },
        abs=SIX_DIGITS,
    )


def test_smallest_changes_from_the_error():
    assert mdc95(1) * PRINTED == pytest.approx(2.7719, abs=FOUR_DIGITS)
    # published SEM in percent of volume and the smallest change that goes with it, printed to two decimals
    for sem, change in [(0.64, 1.77), (0.82, 2.27), (1.2, 3.33), (1.4, 3.88)]:
        assert mdc95(sem) == pytest.approx(change, abs=0.0051)


def test_perfect_agreement():
    found = icc(anova([[1, 1], [2, 2], [4, 4]]))
    assert all(value == (1.0, 1.0, 1.0) for value in found.values())


def test_a_shift_between_sessions_counts_in_agreement_alone():
    found = icc(anova([[1, 3], [2, 4], [4, 6]]))
    assert found["ICC(3,1)"].value == pytest.approx(1.0)
    # BMS 2 * 7/3 = 14/3, JMS 6, EMS 0: BMS / (BMS + 2 * JMS / 3)
    assert found["ICC(2,1)"].value == pytest.approx((14 / 3) / (14 / 3 + 4))
    assert found["ICC(2,1)"].low < found["ICC(2,1)"].value < found["ICC(2,1)"].high


def test_repeatability_recovers_the_error_put_in():
    rng = np.random.default_rng(11)
    true = rng.uniform(2000, 9000, 4000)
    found = repeatability([list(v * (1 + 0.01 * rng.normal(size=3))) for v in true])
    # 8000 degrees of freedom: relative sd of the pooled sd 1/sqrt(16000) = 0.8 %, so 3 % is four sd
    assert found.sem_percent.value == pytest.approx(1.0, rel=0.03)
    assert found.sem_percent.low < 1.0 < found.sem_percent.high
    assert found.mdc95_percent == pytest.approx(2.7719, rel=0.03)
    assert found.second_minus_first is not None


def test_intervals_cover_the_truth_at_their_stated_rate():
    rng = np.random.default_rng(12)
    runs, true = 300, 20.0
    hits = 0
    for _ in range(runs):
        found = repeatability((5000 + rng.normal(0, true, (6, 2))).tolist())
        hits += found.sem.low <= true <= found.sem.high
    # 95 % of 300 runs: sd sqrt(0.95 * 0.05 / 300) = 1.3 %, so 91.2..98.8 % is three sd
    assert 0.912 <= hits / runs <= 0.988


@pytest.mark.parametrize(("pairs", "most"), [(1, 0.05), (3, 0.05), (10, 0.05)])
def test_a_few_repeats_call_chance_clear_once_in_twenty_times(pairs, most, rng):
    """With the error that is advised for a course; 4,000 studies know the rate to 0.35 %."""
    true = 1.0
    called = 0
    for _ in range(4000):
        values = 10_000.0 + 100.0 * true * rng.normal(size=(pairs, 2))
        advised = repeatability(values.tolist()).course_sem_percent
        called += abs(100.0 * true * np.diff(rng.normal(size=2))[0]) > mdc95(advised) * 100.0
    assert called / 4000 == pytest.approx(most, abs=3 * 0.0035)


def test_groups_of_unequal_size_give_the_error_and_no_correlation():
    found = repeatability([[100, 102, 104], [200, 202]])
    # squares 8 + 2 over 2 + 1 degrees of freedom
    assert found.sem.value == pytest.approx(math.sqrt(10 / 3))
    assert found.anova is None
    assert found.icc == {}


def test_a_single_limb_gives_the_error_alone():
    found = repeatability([[100, 102, 104]])
    assert found.sem.value == pytest.approx(2.0)
    assert found.second_minus_first is None
    assert found.icc == {}


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: bland_altman([1, 2], [1]), "2 and 1 measurements do not pair up"),
        (lambda: bland_altman([1], [1]), "too few"),
        (lambda: bland_altman([1, math.nan], [1, 2]), "missing or is not a number"),
        (lambda: tem([], []), "too few"),
        (lambda: tem([-1, 1], [1, -1]), "not positive"),
        (lambda: anova([]), "0 subject"),
        (lambda: anova([[1, 2]]), "1 subject"),
        (lambda: anova([[1], [2]]), "1 measurement"),
        (lambda: anova([[1, 2], [1]]), "not measured equally often"),
        (lambda: anova([[1, 2], [1, math.inf]]), "not a number"),
        (lambda: anova([[7, 7], [7, 7]]), "All measurements are equal"),
        (lambda: icc(anova([[1, 3], [1, 3]])), "same mean"),
        (lambda: repeatability([]), "no repeated measurements"),
        (lambda: repeatability([[1, 2], [3]]), "Group 2 has 1"),
        (lambda: repeatability([[1, 2], [3, -3]]), "group 2 is not a positive"),
        (lambda: repeatability([[1, 2], [3, math.nan]]), "group 2 is not a positive"),
        (lambda: repeatability([[5, 5], [7, 7]]), "equal to the last digit"),
    ],
)
def test_what_cannot_be_used_is_refused_in_words(call, words):
    with pytest.raises(CourseError, match=words):
        call()


values = st.floats(100.0, 10000.0).map(lambda v: round(v, 1))
tables = st.integers(2, 4).flatmap(
    lambda k: st.lists(st.lists(values, min_size=k, max_size=k), min_size=3, max_size=7)
)


@given(tables, st.floats(-5000.0, 5000.0), st.floats(0.01, 100.0), st.randoms())
def test_correlations_do_not_know_unit_origin_or_order(table, shift, scale, random):
    squares = anova_or_none(table)
    assume(squares is not None and squares.bms > 1 and squares.ems > 1)
    before = icc(squares)
    moved = [[scale * (v + shift) for v in row] for row in table]
    random.shuffle(moved)
    after = icc(anova(moved))
    for name, value in before.items():
        # sums of squares above 1 from values up to 1e4 leave some eight digits; forms of k can diverge
        assert after[name] == pytest.approx(value, rel=1e-5, abs=1e-6)
        assert value.low <= value.value + 1e-9
        assert value.value <= value.high + 1e-9


def anova_or_none(table):
    try:
        return anova(table)
    except CourseError:
        return None


@given(st.lists(st.tuples(values, values), min_size=2, max_size=12), st.floats(-500.0, 500.0))
def test_limits_move_with_the_first_method_and_turn_with_the_order(pairs, shift):
    a, b = zip(*pairs, strict=True)
    there, moved, back = bland_altman(a, b), bland_altman([v + shift for v in a], b), bland_altman(b, a)
    for one, two in [(there.bias, moved.bias), (there.lower, moved.lower), (there.upper, moved.upper)]:
        assert two == pytest.approx([v + shift for v in one], abs=1e-6)
    assert back.lower == pytest.approx((-there.upper.value, -there.upper.high, -there.upper.low), abs=1e-9)
