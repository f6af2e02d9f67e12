"""What a chart draws also stands in a table, and lengths in sentences are in the unit that is chosen."""

import re

import numpy as np
import pytest
import synthetic
from code_words import sentences
from hypothesis import given
from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest
from ui_support import ROOT, limb_of, page, words

from digitise.care.wrap.sheet import wrap_sheet
from digitise.care.wrap.suggestion import suggest_plan
from digitise.shape.limb import girth
from digitise.shape.taped import TapeCheck
from digitise.tape.rows import TapeRow
from digitise.words import speaking
from digitise.words.numbers import numbers
from ui import figures, places, present, present_care, text
from ui.lengths import CM, INCH
from ui.palette import ink


def test_a_legend_of_many_lines_has_room_below_the_axis(limb):
    checks = [
        TapeCheck(TapeRow(height, 300.0), 300.0, 2.0, 0.0, 0.0, 3.0, verdict)
        for height, verdict in ((120.0, "agrees"), (160.0, "differs"), (200.0, "suspect"))
    ]
    few, many = (figures.profile_figure(limb, one, None, ink("light"), CM) for one in ((), checks))
    more = len(many.data) - len(few.data)
    assert more == 3
    # a line of a legend is some 20 px high, as its letters are 14 px
    assert many.layout.margin.b >= few.layout.margin.b + 20 * more
    # and the chart itself is as large as before
    assert many.layout.height - many.layout.margin.b == few.layout.height - few.layout.margin.b


def test_the_highest_pressure_stands_within_its_chart(limb):
    sheet = wrap_sheet(limb, suggest_plan(limb))
    low, high = places.pressure_figure(sheet, ink("light"), CM).layout.xaxis.range
    assert low == 0
    assert 1.02 * sheet.estimate_mmhg.max() < high < 1.1 * sheet.estimate_mmhg.max()


@pytest.fixture(scope="module")
def limb():
    return limb_of(synthetic.EllipticFrustum(0, 800, (40.0, 40.0), (80.0, 80.0), (0, 0), (0, 0)))


@pytest.mark.parametrize(("unit", "step_mm"), [(CM, 20.0), (INCH, 25.4)])
def test_girths_stand_at_even_heights_with_their_interval(limb, unit, step_mm):
    rows = present.profile_rows(limb, (), unit)
    heights = [float(row[text.GIRTH_COLUMNS[0].format(unit.name)]) * unit.mm for row in rows]
    assert np.diff(heights) == pytest.approx(step_mm, abs=0.1 * unit.mm)  # one digit is shown
    assert limb.from_mm <= heights[0] <= limb.from_mm + step_mm
    assert limb.to_mm - step_mm <= heights[-1] <= limb.to_mm
    for row, height in zip(rows, heights, strict=True):
        # the girth of a round cone of half-axes 40 mm at the floor and 80 mm at 800 mm; edges are exact,
        # and the fit is within 0.2 % of such (its own tests)
        true = 2 * np.pi * (40 + height / 20)
        shown = float(row[text.GIRTH_COLUMNS[1].format(unit.name)]) * unit.mm
        assert shown == pytest.approx(true, abs=0.002 * true + 0.1 * unit.mm)
        low, high = (float(end) * unit.mm for end in row[text.GIRTH_COLUMNS[2]].split(" and "))
        assert low <= shown <= high


def test_the_tape_stands_in_the_row_of_its_height(limb):
    height = 215.0
    around = float(girth(limb, np.array([height])).mean[0])
    check = TapeCheck(TapeRow(height, around), around, 1.0, 0.0, 0.0, 2.0, "agrees")
    rows = present.profile_rows(limb, (check,), CM)
    taped = [row for row in rows if row[text.GIRTH_COLUMNS[3]]]
    assert [row[text.GIRTH_COLUMNS[0].format("cm")] for row in taped] == ["21.5"]
    assert "agrees" in taped[0][text.GIRTH_COLUMNS[3]]


def test_a_section_tells_its_girth_width_and_depth():
    turn = np.linspace(0, 2 * np.pi, 721)
    circle = np.stack([60 * np.cos(turn), 60 * np.sin(turn)], axis=1)
    (row,) = present.section_rows([("outline", circle)], CM)
    assert list(row.values()) == [f"{2 * np.pi * 6:.1f}", "12.0", "12.0"]
    earlier, later = present.section_rows([("before", circle), ("after", 0.5 * circle)], CM)
    assert list(earlier.values()) == ["before", *row.values()]
    assert list(later.values()) == ["after", f"{np.pi * 6:.1f}", "6.0", "6.0"]


def test_pressures_are_those_of_the_sheet(limb):
    sheet = wrap_sheet(limb, suggest_plan(limb))
    rows = present_care.pressure_rows(sheet, CM)
    assert len(rows) > 3
    for row in rows:
        height, shown = (float(value) for value in row.values())
        assert shown == round(float(np.interp(10 * height, sheet.z, sheet.estimate_mmhg)))


def boxes(test):
    return [box.label for box in test.expander if box.label.endswith(text.AS_TABLE.partition("}")[2])]


def test_every_flat_chart_has_its_table(records):
    weeks = page("weeks")
    assert boxes(weeks) == [text.AS_TABLE.format(name) for name in (text.COURSE, text.SECTION_NAME)]
    volumes = [f"{one['volume_ml']:,.0f}".replace(",", "\u202f") for one in records]
    (course,) = [t.value for t in weeks.table if text.COURSE_COLUMNS[1] in t.value.columns]
    assert course[text.COURSE_COLUMNS[1]].tolist() == volumes
    assert boxes(page("padding")) == [text.AS_TABLE.format(text.WRAP_PRESSURE)]
    record = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    record.query_params["visit"] = "1"
    record.run()
    assert boxes(record) == [text.AS_TABLE.format(name) for name in (text.SECTION_NAME, text.PROFILE)]


# ---- lengths in sentences ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "cm", "inch"),
    [
        ("calf, 475 to 523 mm.", "calf, 47.5 to 52.3 cm.", "calf, 18.7 to 20.6 in."),
        ("by 0.4 mm", "by 0.04 cm", "by 0.02 in"),
        ("at 100, 230 and 390 mm: look", "at 10.0, 23.0 and 39.0 cm: look", "at 3.9, 9.1 and 15.4 in: look"),
        (
            "unsure at 77-135, 254-281 mm; 154 of 360 mm",
            "unsure at 7.7-13.5, 25.4-28.1 cm; 15.4 of 36.0 cm",
            "unsure at 3.0-5.3, 10.0-11.1 in; 6.1 of 14.2 in",
        ),
        ("30 mmHg, 12 mm², 5 mm^2, 8 mL", "30 mmHg, 12 mm², 5 mm^2, 8 mL", "30 mmHg, 12 mm², 5 mm^2, 8 mL"),
        ("photo-1.jpg: 1.5 m away", "photo-1.jpg: 1.5 m away", "photo-1.jpg: 1.5 m away"),
        (
            "by tape: on 2026-03-02 it read 242 mm; on 2026-03-16 it read 239 mm (-3 mm, unclear)",
            "by tape: on 2026-03-02 it read 24.2 cm; on 2026-03-16 it read 23.9 cm (-0.3 cm, unclear)",
            "by tape: on 2026-03-02 it read 9.5 in; on 2026-03-16 it read 9.4 in (-0.1 in, unclear)",
        ),
    ],
)
def test_lengths_in_sentences_follow_the_unit(said, cm, inch):
    assert CM.sentence(said) == cm
    assert INCH.sentence(said) == inch


WARNINGS = ("digitise/shape/checks/warn.py", "digitise/workflow/posture/findings.py")
# words of a place in a sentence; every number is a length where a sentence speaks of mm alone
FILLED = {"list": "345-345, 345-345", "view": "photo-1.jpg", "side": "left", "text": "Bent"}
FILLED |= {"chance": "", "joint": "knee", "lower": "lower leg", "upper": "thigh"}


@pytest.mark.parametrize("language", ["en", "de"])
def test_no_length_of_a_warning_stays_in_mm(language):
    told = [one for name in WARNINGS for one in sentences(ROOT / name) if " mm" in one]
    assert len(told) > 8
    with speaking(language):
        for template in told:
            said = re.sub(r"\{(\w+)(:n)?\}", lambda place: FILLED.get(place[1], "345"), template)
            # an option of a command is in mm wherever it is read
            said = re.sub(r" \(--\w+ 345\)", "", said)
            for unit, number in ((CM, "34.5"), (INCH, "13.6")):
                read = unit.sentence(said)
                assert "345" not in read
                assert numbers(number) in read


@given(st.floats(0, 2000), st.integers(0, 3), st.text(alphabet="abc .,:()", max_size=8))
def test_a_number_keeps_its_value_and_gains_no_exactness(value, digits, around):
    said = f"{around}x {value:.{digits}f} mm {around}"
    shown = float(CM.sentence(said).removeprefix(f"{around}x ").partition(" cm")[0])
    assert 10 * shown == pytest.approx(round(value, digits), abs=1e-6)


def test_no_place_to_look_at_is_told_in_mm_where_people_read_cm(home, models, monkeypatch):
    from digitise.care.padding.region import Region

    said = {"place": "calf, all round, 475 to 523 mm", "why": "Girth falls by 15 mm towards the trunk."}
    region = type("Place", (), {"kind": "bulge", "confidence": "clear", **said})()
    assert set(said) <= set(Region.__dataclass_fields__)
    line = present_care.region_line(1, region, "", CM)
    assert "47.5 to 52.3 cm" in line
    assert "1.5 cm" in line
    assert " mm" not in line


def test_a_visit_is_named_by_the_address_of_padding(records):
    test = AppTest.from_file(str(ROOT / "ui/views/padding.py"), default_timeout=60)
    test.query_params["visit"] = "1"
    test.run()
    assert test.selectbox(key="padding-K-017-left-leg@en").value == 1
    assert test.query_params["visit"] == "1"
    test.selectbox(key="padding-K-017-left-leg@en").set_value(2).run()
    assert test.query_params["visit"] == "2"
    assert not test.exception
    assert text.PADDING_TITLE in words(test)
