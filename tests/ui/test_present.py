"""What is said of values, without any page."""

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from ui_support import unescaped

from digitise.capture.checks.finding import Finding
from digitise.capture.outline.find import Outline
from digitise.care.change.compare import ChangeVerdict
from digitise.care.wrap.plan import Plan
from digitise.care.wrap.suggestion import suggest_plan
from digitise.errors import PlanError
from digitise.geometry.view import Edge
from digitise.output.forms import WarningForm
from digitise.output.model.form import ModelForm, PlaceGirthForm, TapedEndForm
from digitise.tape.advice import explain_tape
from digitise.tape.rows import TapeRow
from digitise.tape.table import tape_from_csv
from ui import present, present_care, text
from ui.lengths import CM, INCH
from ui.plain import plain
from ui.typed import TypedTape, converted, read_typed


def test_typed_rows_are_read_as_a_file_would_be():
    rows = (("39", "46,3"), ("", ""), ("10", "31.9"), (" 23,05", "31.95 "))
    table = "height_cm,girth_cm\n39,46.3\n\n10,31.9\n23.05,31.95\n"
    found = read_typed(rows, CM)
    read = tape_from_csv(table)
    assert [replace(row, typed=0) for row in found.rows] == [replace(row, line=0) for row in read]
    assert [row.typed for row in found.rows] == [row.line - 1 for row in read]
    assert not found.trouble
    inches = read_typed((("10", "12.5"),), INCH)
    assert (inches.rows[0].height_mm, inches.rows[0].girth_mm) == (254.0, 317.5)


@pytest.mark.parametrize(
    ("rows", "index", "piece"),
    [
        ((("10", ""),), 0, "Type the girth"),
        ((("", "31"),), 0, "Type the height"),
        ((("10", "3"),), 0, "5 to 150 cm. Meant 3 in, which is 7.6 cm?"),
        ((("10", "319"),), 0, "Meant 319 mm, which is 31.9 cm?"),
        ((("560", "31"),), 0, "560 cm is higher than a limb. Meant 560 mm, which is 56.0 cm?"),
        ((("10", "31"), ("-5", "31")), 1, "no number"),
        ((("10", "31"), ("0", "31")), 1, "above 0"),
        ((("10", "8,5,1"),), 0, "no number"),
        ((("10", "1e2"),), 0, "no number"),
        ((("10", "31"), ("20", "33"), ("10", "32")), 2, "row 1 already"),
        ((("10", "31"), ("10,0", "32"), ("10", "33")), 2, "row 1 already"),
    ],
)
def test_a_row_that_cannot_be_used_is_named_and_the_others_are_kept(rows, index, piece):
    found = read_typed(rows, CM)
    assert piece in found.trouble[index]
    assert len(found.rows) == len(rows) - len(found.trouble)


def test_no_rows_are_no_trouble():
    assert read_typed((("", ""),) * 5, INCH) == TypedTape((), {})


def test_units_convert_there_and_back():
    rows = (("25.4", "31,75"), ("", "x"))
    assert converted(rows, CM, INCH) == (("10", "12.5"), ("", "x"))
    assert converted(converted(rows, CM, INCH), INCH, CM) == (("25.4", "31.75"), ("", "x"))


def test_advice_speaks_of_rows_and_of_the_unit_on_the_page():
    rows = (("10", "25"), ("20", "28"), ("30", "13.0"), ("40", "34"), ("50", "37"))
    for unit, sized in ((CM, rows), (INCH, converted(rows, CM, INCH))):
        said = " ".join(present.tape_advice(read_typed(sized, unit), (), "leg", unit))
        assert "Row 3" in said
        assert "line" not in said
        assert "mm" not in said
        assert unit.name in said


@pytest.mark.parametrize(
    ("typed", "obeyed"),
    [
        ("![x](http://a.example/b.png)", ("![", "](", "://", "http:/")),
        ("*a* _b_ `c` $d$ ~~e~~", (" _b", "`c`", "$d$", "~~")),
        (":red[e] :smile:", (":red", ":smile")),
        ("<b>f</b> &amp; a -> b -- c <- d", ("<b", "&amp", "->", "--", "<-")),
        ("www.a.example a@b.example", ("www.", "a@")),
        ("- g", ("- g",)),
        ("1. h", ("1.",)),
        ("# i", ("# ",)),
    ],
)
def test_what_was_typed_is_shown_to_the_letter(typed, obeyed):
    said = plain(typed)
    assert unescaped(said) == typed
    for start in obeyed:
        assert not re.search(r"(?<!\\)" + re.escape(start), said)


def check(row, difference, verdict):
    return SimpleNamespace(
        row=TapeRow(100.0, 300.0, typed=row),
        difference_mm=difference,
        verdict=verdict,
        photo_mm=300,
        photo_sd_mm=2,
    )


def test_words_stand_beside_their_own_row():
    tape = TypedTape((), {1: "Type the girth."})
    checks = (check(1, -13.0, "agrees"), check(3, 25.0, "suspect"), check(4, math.nan, "not seen"))
    beside = present.row_words(tape, checks, CM, 5)
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
    again = present_care.edited_plan(plan, present_care.plan_rows(plan, CM), (5.0, 3.0), CM)
    assert again == plan


def test_an_edited_plan_takes_new_numbers_and_refuses_impossible_ones():
    layer = {"name": "first", "width_mm": 80, "from_mm": 100, "to_mm": 400}
    plan = Plan(layers=(layer,))
    rows = present_care.plan_rows(plan, CM)
    rows[0]["Overlap, %"] = 66
    rows.append({"Layer": 'a "second" one', "Width, cm": 10, "From, cm": 10, "To, cm": 30})
    edited = present_care.edited_plan(plan, rows, (4.0, 3.0), CM)
    assert edited.layers[0].overlap == pytest.approx(0.66)
    assert edited.layers[1].name == 'a "second" one'
    assert edited.layers[1].overlap == 0.5
    assert edited.roll_length_mm == 4000
    rows[1]["To, cm"] = 5
    with pytest.raises(PlanError, match="to_mm must be above"):
        present_care.edited_plan(plan, rows, (4.0, 3.0), CM)


def test_what_the_table_of_a_plan_does_not_show_stays_with_its_layer_when_a_row_goes():
    plan = Plan(
        layers=(
            {"width_mm": 100, "from_mm": 0, "to_mm": 400, "kind": "padding", "thickness_mm": 4},
            {"name": "8 cm", "width_mm": 80, "from_mm": 0, "to_mm": 200},
            {"width_mm": 100, "from_mm": 0, "to_mm": 400, "style": "herringbone", "factor": 1.5},
        ),
        roll_measured="rest",
        padding_roll_length_mm=2700,
        end_wrapped=True,
        anchor_turns=2,
        least_layers=3,
        note="hers",
    )  # fmt: skip
    rows = present_care.plan_rows(plan, CM)
    fewer = present_care.edited_plan(
        plan, [*rows[1:], {"Width, cm": 6, "From, cm": 0, "To, cm": 9}], (5.0, 2.7), CM
    )
    assert fewer.layers[:2] == plan.layers[1:]
    assert (fewer.layers[2].kind, fewer.layers[2].thickness_mm) == ("bandage", 1.0)
    assert fewer.model_copy(update={"layers": plan.layers}) == plan


def test_what_stands_beside_a_row_an_edge_or_a_photograph_is_not_told_again():
    beside = [
        Finding("IMG_1.jpg", "dark", "warning", "It is dark.", "Light it."),
        Finding("", "third-photo", "warning", "An edge is hidden.", "Take a third."),
        Finding("IMG_1.jpg", "sharp", "note", "Sharp."),
    ]
    told = [
        WarningForm(code=code, text=words)
        for code, words in (
            ("tape-slip", "Likely two digits exchanged."),
            ("tape-row", "The tape at 230 mm reads 319 mm."),
            ("tape-far", "The volume may be off."),
            ("edge-unsure", "The left edge is unsure at 77-135 mm."),
            ("dark", "photo-1.jpg: It is dark. Light it."),
            ("dark", "photo-2.jpg: It is very dark. Light it."),
            ("third-photo", "An edge is hidden. Take a third."),
            ("scale", "All tape rows read +3.0 %."),
        )
    ]
    left = present.not_yet_told(told, beside)
    assert [one.text[:12] for one in left] == ["The volume m", "photo-2.jpg:", "All tape row"]
    assert present.not_yet_told(told, ()) == (told[2], *told[4:])


def test_a_row_that_was_typed_is_of_no_line():
    rows = (("10", "25"), ("20", "28"), ("30", "43"), ("40", "34"), ("50", "37"))
    (advice,) = explain_tape(read_typed(rows, CM).rows)
    assert advice.code == "swapped-digits"
    assert "the row at height 300 mm reads 430 mm" in advice.text
    assert "line" not in advice.text
    assert present.index_of(advice.rows[0]) == 2


def outline_unsure_at(*parts):
    """Both edges from 0 to 600 mm, a point each 2 mm, the left one unsure over each of some parts."""
    heights = np.arange(0.0, 600.0, 2.0)
    flat, one = np.zeros((len(heights), 2)), np.ones(len(heights))
    unsure = np.any([(heights >= low) & (heights <= high) for low, high in parts], axis=0)
    edges = [Edge(flat, flat, one, sure, sure) for sure in (~unsure, one == 1.0)]
    return Outline((edges[0], edges[1]), (heights, heights), None)


def test_an_edge_is_in_doubt_where_the_limb_is_measured():
    outline = outline_unsure_at((20, 90), (92, 130), (200, 216), (380, 500))
    (low, high) = outline.doubts(100.0, 400.0)
    assert (low.side, low.from_mm, low.to_mm) == ("left", 100.0, 130.0)
    assert (high.from_mm, high.to_mm) == (380.0, 400.0)


@pytest.mark.parametrize(
    ("parts", "verdicts", "said"),
    [
        ((), (), text.STATUS_READY),
        (((20, 90),), ("agrees", "differs"), text.STATUS_READY),
        (((150, 190),), ("agrees",), text.STATUS_DOUBT),
        (((150, 190), (300, 340)), (), text.STATUS_DOUBTS.format(2)),
        ((), ("agrees", "suspect"), text.STATUS_SUSPECT.format(2)),
        (((150, 190),), ("suspect", "suspect"), f"{text.STATUS_DOUBT} {text.STATUS_SUSPECTS.format('1, 2')}"),
    ],
)
def test_what_to_look_at_before_saving(parts, verdicts, said):
    checks = [
        SimpleNamespace(row=TapeRow(100.0, 250.0, typed=row), verdict=one)
        for row, one in enumerate(verdicts, 1)
    ]
    fit = SimpleNamespace(limb=SimpleNamespace(from_mm=100.0, to_mm=400.0), tape_checks=checks)
    measured = SimpleNamespace(fit=fit, outlines=(outline_unsure_at((0, 8), *parts),))
    assert present.ready_words(measured) == said


@pytest.mark.parametrize("unit", [CM, INCH])
def test_a_plan_is_the_same_in_every_unit(unit):
    layer = {"width_mm": 83, "from_mm": 101.4, "to_mm": 523.7, "overlap": 0.666, "stretch": 0.305}
    plan = Plan(layers=(layer, {**layer, "to_mm": 521}))
    rows = present_care.plan_rows(plan, unit)
    assert present_care.edited_plan(plan, rows, (5.0, 3.0), unit) == plan
    rows[1][f"Width, {unit.name}"] = 4
    (first, second) = present_care.edited_plan(plan, rows, (5.0, 3.0), unit).layers
    assert first == plan.layers[0]
    assert second == plan.layers[1].model_copy(update={"width_mm": pytest.approx(4 * unit.mm)})


def test_taped_places_as_a_table_and_by_tape_alone():
    rows = (
        PlaceGirthForm(
            place="heel-instep", girth_mm=360.0, photo_mm=330.0, photo_mm_95=(320.0, 340.0),
            difference_mm=30.0, verdict="differs",
        ),
        PlaceGirthForm(
            place="mid-foot", girth_mm=251.0, photo_mm=None, photo_mm_95=None, difference_mm=None,
            verdict="not seen",
        ),
    )  # fmt: skip
    end = TapedEndForm(part="foot", below_mm=100.0, volume_ml=1155.0, volume_ml_95=(1019.0, 1291.0))
    summary = ModelForm.model_construct(place_girths=rows, taped_end=end)
    assert [list(row.values()) for row in present.place_rows(summary, CM)] == [
        ["Heel and instep", "36.0", "33.0", "△ differs"],
        ["Middle of the foot", "25.1", "–", "– not seen"],
    ]
    assert present.taped_end(summary, CM) == "Foot below 10.0 cm, estimated by tape alone: 1 155 ± 136 mL."
    assert present.taped_end(ModelForm.model_construct(taped_end=None), CM) == ""
