"""What a report says of a foot that both visits measured."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from model_folders import model_folder
from standing_feet import leg_with_foot

from digitise.care.change.end import end_change
from digitise.output.change.words import end_sentences
from digitise.output.model.file import read_model
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_pdf
from digitise.output.report.words import SIGNED
from digitise.workflow.report import make_report

START = datetime(2026, 3, 2, 9, tzinfo=UTC)


@pytest.fixture(scope="module")
def visits(tmp_path_factory):
    """The second time both leg and foot are others."""
    found = []
    for number, differences in enumerate(((0.0,), (1.0,))):
        leg, foot = leg_with_foot(differences=differences)
        wider = replace(leg, mean=(1.0 + 0.01 * number) * leg.mean)
        model = read_model(model_folder(tmp_path_factory.mktemp("visits") / "m", wider))
        # the foot alone is added: only its shape is asked for here
        found.append(ReportVisit(replace(model, end=foot), START + timedelta(days=7 * number)))
    return found


def test_the_foots_change_is_that_of_a_comparison(visits):
    first, last = (visit.model.end for visit in visits)
    told, true = make_report(visits).form.change.end, end_change(first, last)
    assert (told.name, told.from_mm, told.to_mm) == ("foot", 0.0, first.top_mm)
    # printed in whole mL
    assert told.change_ml.value == pytest.approx(true.change_ml.mean, abs=0.5)
    assert told.change_percent.value == pytest.approx(true.percent.mean, abs=0.05)


@pytest.mark.parametrize("without", [0, 1])
def test_without_the_foot_at_both_visits_nothing_is_said_of_its_change(visits, without):
    some = [replace(v, model=replace(v.model, end=None)) if n == without else v for n, v in enumerate(visits)]
    report = make_report(some)
    assert report.form.change.end is None
    assert report.end_change is None


def test_the_page_says_the_sentence_and_the_row(visits, monkeypatch):
    said, rows = [], []
    from digitise.output.report.layout import Pages

    own, table = Pages.paragraph, Pages.rows
    monkeypatch.setattr(
        Pages, "paragraph", lambda self, text, *a, **k: (said.append(text), own(self, text, *a, **k))
    )
    monkeypatch.setattr(
        Pages, "rows", lambda self, head, body, *a, **k: (rows.extend(body), table(self, head, body, *a, **k))
    )
    report = make_report(visits)
    report_pdf(report)
    (sentence,) = end_sentences(report.end_change)
    assert sentence in said
    change = report.form.change.end
    (row,) = [row for row in rows if row[0] == "foot"]
    assert row[1] == f"0-{change.to_mm:.0f}"
    assert row[2].startswith(f"{change.change_ml.value:{SIGNED}} (")
