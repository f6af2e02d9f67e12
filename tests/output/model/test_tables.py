"""Tables read back by csv, and cells that a spreadsheet must not compute."""

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from digitise.output.model.files import write_model_file, write_sections
from digitise.output.tables import csv_text


def test_sections_are_those_of_the_figures(measured, tmp_path):
    summary = write_model_file(tmp_path, measured)
    write_sections(tmp_path, summary)
    with (tmp_path / "sections.csv").open(newline="", encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == len(summary.sections)
    for row, section in zip(rows, summary.sections, strict=True):
        found = {name: float(cell) for name, cell in row.items()}
        assert found == {
            "height_mm": section.height_mm,
            "girth_mm": section.girth_mm,
            "girth_low_mm": section.girth_mm_95[0],
            "girth_high_mm": section.girth_mm_95[1],
            "area_mm2": section.area_mm2,
            "area_low_mm2": section.area_mm2_95[0],
            "area_high_mm2": section.area_mm2_95[1],
            "width_mm": section.width_mm,
            "depth_mm": section.depth_mm,
            "centre_x_mm": section.centre_mm[0],
            "centre_y_mm": section.centre_mm[1],
        }


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", "=", "-"])
def test_text_never_becomes_a_formula(text):
    (row,) = list(csv.reader(io.StringIO(csv_text(["note"], [[text]]), newline="")))[1:]
    assert row == ["'" + text]


def test_numbers_stay_numbers():
    assert csv_text(["a", "b", "c"], [[-1.5, -3, None]]) == "a,b,c\r\n-1.5,-3,\r\n"


@given(st.lists(st.text(st.characters(exclude_categories=["Cs"])), min_size=2, max_size=4))
def test_any_text_comes_back(cells):
    text = csv_text(["x"] * len(cells), [cells])
    (row,) = list(csv.reader(io.StringIO(text, newline="")))[1:]
    for found, cell in zip(row, cells, strict=True):
        assert found.removeprefix("'") == cell.removeprefix("'")
        assert not found.lstrip(" ").startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
