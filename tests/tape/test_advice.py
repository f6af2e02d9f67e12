"""Slips that are planted are named with the right value; sound tables get no advice; nothing is changed."""

from dataclasses import replace

import numpy as np
import pytest

from digitise.tape.advice import explain_tape
from digitise.tape.rows import TapeRow
from digitise.tape.table import read_tape, tape_from_csv

# a leg every 40 mm (methods, section A, test profile, carried on over knee and thigh)
GIRTHS = [220, 240, 280, 330, 360, 350, 330, 345, 370, 400, 430, 460, 490]
LEG = tuple(TapeRow(100.0 + 40 * i, float(g), i + 2) for i, g in enumerate(GIRTHS))


def photographs(rows, sd=3.0, ratio=1.0):
    return {row.height_mm: (row.girth_mm / ratio, sd) for row in rows}


def with_girths(rows, **girths):
    """The rows with some girths replaced, ``r3=346`` for the fourth."""
    changed = {int(name[1:]): float(girth) for name, girth in girths.items()}
    return tuple(replace(row, girth_mm=changed.get(i, row.girth_mm)) for i, row in enumerate(rows))


def only(remarks):
    assert len(remarks) == 1, remarks
    return remarks[0]


# ---- sound tables -----------------------------------------------------------------------------------


def test_sound_tables_get_no_advice(case):
    assert explain_tape(LEG) == ()
    assert explain_tape(LEG, photographs(LEG)) == ()
    rows = read_tape(case.tape)
    assert explain_tape(rows) == ()
    assert explain_tape(rows, photographs(rows)) == ()


def test_ordinary_reading_errors_get_no_advice():
    rng = np.random.default_rng(5)
    spoken = 0
    for _ in range(200):
        noisy = tuple(replace(row, girth_mm=row.girth_mm + rng.normal(0, 3)) for row in LEG)
        told = {row.height_mm: (row.girth_mm + rng.normal(0, 3), 3.0) for row in LEG}
        spoken += bool(explain_tape(noisy, told))
    # 13 rows at three sd (0.27 %) give 3.5 % of tables, the common ratio less than 1 %; plus three sd of 200
    assert spoken <= 200 * (0.045 + 3 * np.sqrt(0.045 / 200))


@pytest.mark.parametrize("rows", [(), LEG[:1], LEG[:2]])
def test_few_rows(rows):
    assert explain_tape(rows) == ()


# ---- one row ----------------------------------------------------------------------------------------


def test_swapped_digits_against_the_photographs():
    rows = tape_from_csv("height_mm,girth_mm\n100,220\n250,346\n400,330\n550,420\n")
    slipped = with_girths(rows, r1=364)
    remark = only(explain_tape(slipped, photographs(rows, sd=2.0)))
    assert remark.code == "swapped-digits"
    assert remark.rows == (slipped[1],)
    assert remark.likely == (rows[1],)
    assert remark.ratio == pytest.approx(18.0)  # 18 mm off against the 1 mm floor
    assert "line 3" in remark.text
    assert "346 mm" in remark.text
    assert "18 times better" in remark.text
    assert "nothing was changed" in remark.text


def test_swapped_digits_against_the_neighbours():
    # rows 40 mm apart tell each other to about 3 %: 430 typed as 340 shows, 345 typed as 354 does not
    remark = only(explain_tape(with_girths(LEG, r10=340)))
    assert (remark.code, remark.likely) == ("swapped-digits", (LEG[10],))
    assert explain_tape(with_girths(LEG, r7=354)) == ()


def test_centimetre_rounding_and_decimals():
    rows = tape_from_csv("height_cm,girth_cm\n10,22\n25,34.6\n40,33\n55,42\n")
    slipped = with_girths(rows, r1=436)
    remark = only(explain_tape(slipped, photographs(rows)))
    assert remark.likely == (rows[1],)


@pytest.mark.parametrize(
    ("index", "factor"),
    [(6, 2.54), (4, 1 / 2.54), (3, 1 / 25.4), (4, 25.4), (2, 0.1), (0, 10.0)],
)
@pytest.mark.parametrize("told", [True, False], ids=["photographs", "neighbours"])
def test_unit_slip_of_one_row(index, factor, told):
    slipped = with_girths(LEG, **{f"r{index}": round(LEG[index].girth_mm * factor, 1)})
    remark = only(explain_tape(slipped, photographs(LEG) if told else None))
    assert remark.code == "unit-slip"
    # rounded to 0.1 mm before the factor of at most 25.4
    assert remark.likely[0].girth_mm == pytest.approx(LEG[index].girth_mm, abs=1.5)
    assert remark.ratio >= 2


@pytest.mark.parametrize(("i", "j"), [(1, 4), (0, 12), (2, 9)])
@pytest.mark.parametrize("told", [True, False], ids=["photographs", "neighbours"])
def test_swapped_rows(i, j, told):
    slipped = with_girths(LEG, **{f"r{i}": LEG[j].girth_mm, f"r{j}": LEG[i].girth_mm})
    remark = only(explain_tape(slipped, photographs(LEG) if told else None))
    assert remark.code == "swapped-rows"
    assert set(remark.likely) == {LEG[i], LEG[j]}


def test_two_slips_in_one_table():
    slipped = with_girths(LEG, r4=630, r9=round(400 / 2.54, 1))
    remarks = explain_tape(slipped, photographs(LEG))
    assert {remark.code for remark in remarks} == {"swapped-digits", "unit-slip"}
    assert {remark.likely[0].height_mm for remark in remarks} == {LEG[4].height_mm, LEG[9].height_mm}


def test_doubted_row_without_a_likely_slip_is_only_named():
    slipped = with_girths(LEG, r4=410)
    remark = only(explain_tape(slipped, photographs(LEG)))
    assert (remark.code, remark.rows, remark.likely, remark.ratio) == ("check-row", (slipped[4],), (), 0.0)
    assert "Measure it again" in remark.text


def test_the_bad_row_is_named_and_not_its_neighbours():
    slipped = with_girths(LEG, r5=577)
    remark = only(explain_tape(slipped))
    assert remark.rows == (slipped[5],)


def test_wide_prediction_leaves_a_row_undoubted():
    slipped = with_girths(LEG, r3=363)
    # 33 mm against sd 15 mm is 2.2 sd
    assert explain_tape(slipped, {LEG[3].height_mm: (330.0, 15.0)}) == ()


def test_five_rows_far_apart_do_not_doubt_a_small_slip(case):
    rows = read_tape(case.tape)
    bumped = with_girths(rows, r2=rows[2].girth_mm * 1.05)
    assert explain_tape(bumped) == ()


def test_planted_slips_are_never_given_a_wrong_value():
    """Every digit swap of every row: named rightly or only doubted, never corrected to something else."""
    rng = np.random.default_rng(11)
    right = wrong = planted = 0
    for i, row in enumerate(LEG):
        digits = f"{row.girth_mm:.0f}"
        for k in range(2):
            swapped = float(digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :])
            if abs(swapped - row.girth_mm) < 20 or not 50 <= swapped <= 1500:
                continue
            planted += 1
            told = {r.height_mm: (r.girth_mm + rng.normal(0, 2), 2.0) for r in LEG}
            remark = only(explain_tape(with_girths(LEG, **{f"r{i}": swapped}), told))
            right += remark.likely == (row,)
            wrong += bool(remark.likely) and remark.likely != (row,)
    assert planted >= 15
    assert wrong == 0
    assert right == planted


# ---- the table as a whole -----------------------------------------------------------------------------


@pytest.mark.parametrize("factor", [2.54, 1 / 2.54, 0.1])
def test_unit_slip_of_all_rows(factor):
    slipped = tuple(replace(row, girth_mm=row.girth_mm * factor) for row in LEG)
    remark = only(explain_tape(slipped, photographs(LEG, ratio=1.01)))
    assert remark.code == "unit-slip-all"
    assert [row.girth_mm for row in remark.likely] == pytest.approx(GIRTHS, abs=0.06)
    assert remark.ratio > 2


@pytest.mark.parametrize("ratio", [0.94, 1.05])
def test_common_ratio_points_to_the_print_scale(ratio):
    remark = only(explain_tape(LEG, photographs(LEG, ratio=ratio)))
    assert remark.code == "ratio-all"
    assert remark.likely == ()
    assert f"{abs(ratio - 1):.1%}" in remark.text
    assert "100 %" in remark.text


def test_common_ratio_does_not_hide_a_slip():
    slipped = with_girths(LEG, r4=630)
    codes = [remark.code for remark in explain_tape(slipped, photographs(LEG, ratio=1.05))]
    assert codes == ["ratio-all", "swapped-digits"]


def test_swapped_columns():
    text = "height_mm,girth_mm\n293,100\n307,230\n431,390\n388,550\n526,730\n"
    remark = only(explain_tape(tape_from_csv(text)))
    assert remark.code == "swapped-columns"
    meant = {(100.0, 293.0), (230.0, 307.0), (390.0, 431.0), (550.0, 388.0), (730.0, 526.0)}
    assert {(row.height_mm, row.girth_mm) for row in remark.likely} == meant


def test_heights_in_centimetres_under_a_millimetre_header(case):
    rows = tuple(replace(row, height_mm=row.height_mm / 10) for row in read_tape(case.tape))
    remark = only(explain_tape(rows))
    assert remark.code == "height-unit"
    assert remark.likely == read_tape(case.tape)


# ---- soft notes -----------------------------------------------------------------------------------------


def test_steep_step_is_only_noted():
    rows = (TapeRow(100.0, 220.0), TapeRow(120.0, 260.0), TapeRow(300.0, 360.0))
    remark = only(explain_tape(rows))
    # (260 / 220)² - 1 = 39.7 % per 40 mm
    assert (remark.code, remark.likely) == ("steep-step", ())
    assert "40% per 40 mm" in remark.text


@pytest.mark.parametrize(
    ("row", "limb", "spoken"),
    [
        (TapeRow(100.0, 163.0), "leg", True),
        (TapeRow(100.0, 165.0), "leg", False),
        (TapeRow(700.0, 800.0), "leg", True),
        (TapeRow(100.0, 163.0), "arm", False),
        (TapeRow(100.0, 300.0, 2, "B"), "leg", True),  # ankles ran to 293 mm
        (TapeRow(300.0, 300.0, 2, "C"), "leg", False),
        (TapeRow(300.0, 300.0, 2, "C"), "arm", True),  # the same letter is the wrist there
    ],
)
def test_unusual_girth_is_only_noted(row, limb, spoken):
    remarks = explain_tape((row,), limb=limb)
    assert [remark.code for remark in remarks] == ["unusual-girth"] * spoken
    assert all(not remark.likely for remark in remarks)


def test_rows_are_left_as_they_are():
    slipped = with_girths(LEG, r4=630)
    before = tuple(replace(row) for row in slipped)
    explain_tape(slipped, photographs(LEG))
    assert slipped == before
