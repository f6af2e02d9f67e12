"""Course, reminders and words: worked values, simulated coverage, invariances."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitise.care.course.course import course
from digitise.care.course.visits import RepeatError, VisitVolume
from digitise.care.excess import BILATERAL
from digitise.errors import CourseError
from digitise.output.course.form import course_form
from digitise.output.course.words import TWO_WAYS, course_sentences
from digitise.shape.limb import Estimate

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ERROR = RepeatError(1.0)
# Printed to three decimals.
THREE_DIGITS = 5.1e-4


def visit(day, volume, reference=None, **more):
    return VisitVolume(
        START + timedelta(days=day),
        Estimate(float(volume), 0.015 * volume),
        60.0,
        400.0,
        reference=None if reference is None else Estimate(float(reference), 0.015 * reference),
        **more,
    )


# V 9200 -> 8600 mL, reference 8000 -> 7950 mL
WORKED = [visit(0, 9200, 8000), visit(14, 8600, 7950)]


def told(found):
    """The course as course.json says it."""
    return json.loads(course_form(found, "leg", "left").model_dump_json())


def test_worked_excess_and_reductions():
    first, last = course(WORKED, ERROR).points
    assert first.excess.excess_ml.mean == 1200
    assert first.excess.percent.mean == pytest.approx(15.0)
    assert last.excess.excess_ml.mean == 650
    assert last.excess.percent.mean == pytest.approx(8.176, abs=THREE_DIGITS)
    assert last.reduction.current_reference.mean == pytest.approx(45.833, abs=THREE_DIGITS)
    assert last.reduction.baseline_reference.mean == pytest.approx(50.0)
    assert last.limb_change_percent.mean == pytest.approx(-6.522, abs=THREE_DIGITS)
    assert first.reduction is None
    assert first.since_first is None


def test_a_volume_carries_the_whole_error_and_a_change_the_repeat_error_alone():
    last = course(WORKED, ERROR).points[-1]
    assert last.visit.volume.sd == pytest.approx(129.0)
    assert last.since_first.sd == pytest.approx(math.sqrt(2) * 92.0)
    known = replace(ERROR, change_sd_ml={(WORKED[0].taken, WORKED[1].taken): 30.0})
    assert course(WORKED, known).points[-1].since_first == (-600.0, 30.0)


@pytest.mark.parametrize("definition", ["current_reference", "baseline_reference"])
def test_intervals_of_reductions_cover_the_truth(definition):
    rng = np.random.default_rng(3)
    truth = {"current_reference": 100 * 550 / 1200, "baseline_reference": 50.0}[definition]
    hits, runs = 0, 600
    for _ in range(runs):
        # every volume 2 % too small, and 1 % apart from measurement to measurement
        v0, v1, r0, r1 = 0.98 * np.array([9200, 8600, 8000, 7950]) * (1 + 0.01 * rng.normal(size=4))
        reduction = course([visit(0, v0, r0), visit(14, v1, r1)], ERROR).points[-1].reduction
        low, high = getattr(reduction, definition).interval_95
        hits += low <= truth <= high
    # 95 % of 600: sd 0.9 %, three sd 2.7 %; a quotient is not quite normal, 1 % more
    assert 0.913 <= hits / runs <= 0.99


def test_both_limbs_swollen_hides_percentages_of_excess():
    found = course(WORKED, ERROR, bilateral=True)
    assert all(point.excess.percent is None and point.reduction is None for point in found.points)
    assert found.points[-1].limb_change_percent.mean == pytest.approx(-6.522, abs=THREE_DIGITS)
    assert found.notes == (BILATERAL,)
    sentences = " ".join(course_sentences(found))
    assert "Excess" not in sentences
    assert "Difference from the other limb: 650 mL" in sentences


@pytest.mark.parametrize(
    ("visits", "note"),
    [
        ([visit(0, 9200), visit(7, 9000, 8000)], "the other limb was not measured at the first visit"),
        ([visit(0, 8100, 8000), visit(7, 8000, 8000)], "within the error of a repeat"),
        ([visit(0, 7000, 8000), visit(7, 7000, 8000)], "the first visit shows none"),
    ],
)
def test_no_reduction_without_a_clear_excess_at_the_first_visit(visits, note):
    found = course(visits, ERROR)
    assert all(point.reduction is None for point in found.points)
    assert note in found.notes[0]
    assert found.points[-1].excess is not None


def test_a_visit_without_the_other_limb_keeps_the_reduction_against_the_first():
    found = course([*WORKED, visit(21, 8600)], ERROR)
    assert found.points[-1].excess is None
    assert found.points[-1].reduction.current_reference is None
    assert found.points[-1].reduction.baseline_reference.mean == pytest.approx(50.0)
    assert found.notes == ("The other limb was not measured on 2026-03-23.",)
    told(found)


@pytest.mark.parametrize(
    ("before", "after", "text"),
    [
        ({"local_hour": 9.0}, {"local_hour": 12.5}, "measured at 12:30, the time before at 09:00"),
        ({"measured_by": "AB"}, {"measured_by": "CD"}, "measured by CD, the time before by AB."),
        ({"posture": "lying"}, {"posture": "standing"}, "measured standing, the time before lying."),
        ({}, {"covers_mm": (60.0, 380.0)}, "from 60 to 380 mm, the time before from 60 to 400 mm."),
        (
            {"girths": {100.0: Estimate(300, 1)}},
            {"girths": {120.0: Estimate(310, 1)}},
            "girths are at other heights than the time before.",
        ),
    ],
)
def test_reminders(before, after, text):
    found = course([visit(0, 9000, **before), visit(7, 8900, **after)], ERROR).reminders
    assert len(found) == 1
    assert text in found[0].text
    assert found[0].visit == "2026-03-09"


@pytest.mark.parametrize(
    ("before", "after"),
    [
        ({"local_hour": 9.0}, {"local_hour": 12.0}),
        ({"local_hour": 23.0}, {"local_hour": 1.0}),
        ({"local_hour": 9.0}, {}),
        ({"measured_by": "AB"}, {}),
        ({"posture": "lying"}, {}),
        ({"covers_mm": (60.0, 400.5)}, {}),
        (
            {"girths": {100.0: Estimate(300, 1)}},
            {"girths": {100.5: Estimate(310, 1), 200.0: Estimate(310, 1)}},
        ),
    ],
)
def test_no_reminder_of_small_or_unknown_differences(before, after):
    assert course([visit(0, 9000, **before), visit(7, 8900, **after)], ERROR).reminders == ()


def test_a_gap_of_more_than_three_weeks():
    days = [0, 21, 43]
    found = course([visit(day, 9000) for day in days], ERROR).reminders
    assert [(r.code, r.visit) for r in found] == [("gap", "2026-04-14")]
    assert "3.1 weeks after the visit before" in found[0].text


def test_sentences_of_the_worked_visits():
    # with 1 % errors of 86, 79.5, 92 and 80 mL over an excess of 1200 mL, sd of the reductions by hand:
    # sqrt(86^2 + 79.5^2 + 0.5417^2 (92^2 + 80^2)) = 134.4, and sqrt(86^2 + 46^2 + 40^2) = 105.4
    assert course_sentences(course(WORKED, ERROR)) == (
        "On 2026-03-16 the limb measured 8600 mL (95 % interval 8347 to 8853) between 60 and 400 mm.",
        "Since the first visit on 2026-03-02 it lost 600 mL or 6.5 % of the limb "
        "(95 % interval -855 to -345 mL): a clear change.",
        "From visit to visit a change counts as clear beyond 2.8 % of volume; this rests on a repeat error "
        "of 1.0 % (stated, not measured by repeats).",
        TWO_WAYS,
        "Excess over the other limb: 650 mL (95 % interval 306 to 994), "
        "or 8.2 % (95 % interval 3.7 to 12.7).",
        "Excess reduced by 45.8 % (95 % interval 21.1 to 70.6), against the other limb at the same visit.",
        "Excess reduced by 50.0 % (95 % interval 32.1 to 67.9), against the other limb at the first visit.",
        "Rate over the last 2 visits: -300 mL or -3.4 % per week (95 % interval -4.8 to -2.0 %).",
        "Verdict: not enough visits. Proposed rule of this project; the therapist decides.",
        "The rule needs at least 3 visits; there are 2.",
        "3 visits must lie after the first week, as it carries most of the fall; there is 1.",
        "Volumes from different methods do not replace each other: follow one person with one method, "
        "one operator, one posture and one time of day.",
    )


def test_words_for_no_clear_change_and_for_growth():
    words = " ".join(course_sentences(course([visit(0, 9000), visit(7, 9100), visit(14, 9500)], ERROR)))
    assert "Since the first visit on 2026-03-02 it gained 500 mL or 5.6 % of the limb" in words
    assert "Since the visit before on 2026-03-09 it gained 400 mL or 4.4 %" in words
    same = " ".join(course_sentences(course([visit(0, 9000), visit(7, 9100)], ERROR)))
    assert "Since the first visit on 2026-03-02: no clear change (+100 mL" in same


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (RepeatError(1.4), "1.4 % (from published repeats of tape, not measured here)."),
        (RepeatError(1.0, measured=True), "1.0 % (measured by repeats)."),
        (RepeatError(0.8), "0.8 % (stated, not measured by repeats)."),
        (
            RepeatError(0.8, {(WORKED[0].taken, WORKED[1].taken): 30.0}),
            "not measured by repeats); some changes have an error of their own.",
        ),
    ],
)
def test_the_source_of_the_repeat_error_is_named(error, words):
    assert any(words in sentence for sentence in course_sentences(course(WORKED, error)))


def test_a_single_visit():
    found = course([visit(0, 9200, 8000)], ERROR)
    said = told(found)
    assert said["rate"] is None
    assert said["plateau"]["verdict"] == "not enough visits"
    assert said["visits"][0]["excess_percent"]["value"] == pytest.approx(15.0)
    assert "Rate" not in " ".join(said["sentences"])


def test_json_holds_every_figure_with_its_interval():
    said = told(course(WORKED, ERROR))
    last = said["visits"][-1]
    assert last["taken"] == "2026-03-16T09:00:00Z"
    assert last["since_first_ml"]["clear"] is True
    assert last["since_first_ml"]["interval_95"] == pytest.approx([-855.006, -344.994], abs=0.001)
    assert set(last["excess_reduction_percent"]) == {"current_reference", "baseline_reference"}
    assert said["mdc95_percent"] == pytest.approx(2.7718, abs=5.1e-5)
    assert said["plateau"]["rule"] == "Proposed rule of this project; the therapist decides."


def test_no_visit_is_refused():
    with pytest.raises(CourseError, match="no visit to follow"):
        course([], ERROR)


pairs = st.lists(st.tuples(st.integers(2000, 12000), st.integers(2000, 12000)), min_size=1, max_size=6)


@given(pairs, st.floats(0.1, 10.0), st.randoms())
def test_percentages_know_neither_unit_nor_order(volumes, scale, random):
    visits = [visit(7 * i, v, r) for i, (v, r) in enumerate(volumes)]
    moved = [visit(7 * i, scale * v, scale * r) for i, (v, r) in enumerate(volumes)]
    random.shuffle(moved)
    before, after = course(visits, ERROR), course(moved, ERROR)
    assert before.plateau.verdict == after.plateau.verdict
    for one, two in zip(before.points, after.points, strict=True):
        assert two.excess.percent == pytest.approx(one.excess.percent)
        assert (one.reduction is None) == (two.reduction is None)
        if one.reduction is not None:
            assert two.reduction.current_reference == pytest.approx(one.reduction.current_reference, abs=1e-6)
            assert two.reduction.baseline_reference == pytest.approx(
                one.reduction.baseline_reference, abs=1e-6
            )
    told(before)
