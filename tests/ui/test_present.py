"""What is said of values, without any page."""

import math
from types import SimpleNamespace

import pytest

from digitise.capture.checks.finding import Finding
from digitise.care.change.compare import ChangeVerdict
from digitise.care.wrap.plan import Plan
from digitise.care.wrap.suggestion import suggest_plan
from digitise.errors import PlanError
from digitise.tape.rows import TapeRow
from digitise.tape.table import tape_from_csv
from ui import present, present_care, text


def test_typed_rows_are_read_as_a_file_would_be():
    typed = [(39.0, 46.3), (None, None), (10.0, 31.9), (23.05, 31.95)]
    table = "height_cm,girth_cm\n39,46.3\n\n10,31.9\n23.05,31.95\n"
    found = present.read_typed(typed, "cm")
    assert found.rows == tape_from_csv(table)
    assert not found.trouble


@pytest.mark.parametrize(
    ("typed", "index", "piece"),
    [
        ([(10.0, None)], 0, "Type the girth"),
        ([(None, 31.0)], 0, "Type the height"),
        ([(10.0, 3.0)], 0, "outside 50 to 1500"),
        ([(10.0, 31.0), (-5.0, 31.0)], 1, "not above zero"),
        ([(10.0, 31.0), (20.0, 33.0), (10.0, 32.0)], 2, "already on line"),
        ([(10.0, 31.0), (10.0, 32.0), (10.0, 33.0)], 2, "already on line"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_the_others_are_kept(typed, index, piece):
    found = present.read_typed(typed, "cm")
    assert piece in found.trouble[index]
    assert len(found.rows) == len(typed) - len(found.trouble)


def test_no_rows_are_no_trouble():
    assert present.read_typed([(None, None)] * 5, "mm") == present.TypedTape((), {})


def test_units_convert_there_and_back():
    rows = ((23.05, 31.95), (None, 40.0))
    assert present.converted(rows, "cm", "mm") == ((230.5, 319.5), (None, 400.0))
    assert present.converted(present.converted(rows, "cm", "mm"), "mm", "cm") == rows


def check(line, difference, verdict):
    return SimpleNamespace(
        row=TapeRow(100.0, 300.0, line),
        difference_mm=difference,
        verdict=verdict,
        photo_mm=300,
        photo_sd_mm=2,
    )


def test_words_stand_beside_their_own_row():
    tape = present.TypedTape((), {1: "Type the girth."})
    checks = (check(2, -13.0, "agrees"), check(4, 25.0, "suspect"), check(5, math.nan, "not seen"))
    beside = present.row_words(tape, checks, "cm", 5)
    assert beside[0] == present.RowWords("✓", "agrees: tape 1.3 cm less")
    assert beside[1] == present.RowWords("!", "Type the girth.")
    assert beside[2] == present.RowWords("✗", "suspect: tape 2.5 cm more; measure again")
    assert beside[3].words == text.VERDICT["not seen"]
    assert beside[4] == present.RowWords("", "")


def test_findings_are_told_gravest_first_and_notes_apart():
    findings = [
        Finding("a", "n", "note", "Sharp."),
        Finding("a", "w", "warning", "Dark.", "Light."),
        Finding("a", "r", "refuse", "No mat.", "Retake."),
    ]
    assert present.worst(findings) == "refuse"
    assert present.finding_lines(findings) == ("No mat. **Retake.**", "Dark. **Light.**")
    assert present.notes_line(findings) == "Sharp."
    assert present.worst([]) == "note"


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (0.0, "At the start"),
        (2.0, "After 2 days"),
        (7.2, "After 1 week"),
        (20.6, "After 3 weeks"),
    ],
)
def test_time_since_the_start_needs_no_dates(days, words):
    assert present_care.since_start(days) == words


def change(mean, verdict):
    return SimpleNamespace(change_ml=SimpleNamespace(mean=mean), verdict=verdict)


@pytest.mark.parametrize(
    ("shown", "piece"),
    [
        (None, "before treatment"),
        (change(-790.0, ChangeVerdict.SMALLER), "about 3 cups less"),
        (change(240.0, ChangeVerdict.LARGER), "about one cup more"),
        (change(-60.0, ChangeVerdict.SMALLER), "less than half a cup less"),
        (change(-900.0, ChangeVerdict.UNCLEAR), "No clear change"),
    ],
)
def test_plain_words_of_a_change(shown, piece):
    assert piece in present_care.plain_change(shown)


def test_a_plan_that_nobody_edited_stays_the_same(models, tmp_path):
    (tmp_path / "model.json").write_text(models[0].json)
    (tmp_path / "limb.npz").write_bytes(models[0].limb)
    from digitise.output.model.file import read_model

    plan = suggest_plan(read_model(tmp_path).limb)
    again = present_care.edited_plan(plan, present_care.plan_rows(plan), plan.roll_length_mm / 1000)
    assert again == plan


def test_an_edited_plan_takes_new_numbers_and_refuses_impossible_ones():
    layer = {"name": "first", "width_mm": 80, "from_mm": 100, "to_mm": 400}
    plan = Plan(layers=(layer,))
    rows = present_care.plan_rows(plan)
    rows[0]["Overlap, %"] = 66
    rows.append({"Layer": 'a "second" one', "Width, cm": 10, "From, cm": 10, "To, cm": 30})
    edited = present_care.edited_plan(plan, rows, 4.0)
    assert edited.layers[0].overlap == pytest.approx(0.66)
    assert edited.layers[1].name == 'a "second" one'
    assert edited.layers[1].overlap == 0.5
    assert edited.roll_length_mm == 4000
    rows[1]["To, cm"] = 5
    with pytest.raises(PlanError, match="to_mm must be above"):
        present_care.edited_plan(plan, rows, 4.0)
