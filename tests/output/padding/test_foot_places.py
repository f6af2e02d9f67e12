"""Places on a foot as they are written, said, drawn and reported."""

import csv
import json
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from model_folders import model_folder
from standing_feet import foot_below, leg_with_foot

from digitise.care.padding.foot.areas import TOP, foot_areas
from digitise.care.padding.foot.build import _builds
from digitise.care.padding.foot.places import foot_places
from digitise.errors import PlanError
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.output.model.file import read_model
from digitise.output.padding.files import pad_text
from digitise.output.padding.form import PadForm
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_pdf
from digitise.shape.foot.prior import usual_foot
from digitise.workflow import care
from digitise.workflow.report import ReportOptions, make_report


def swollen_back(height_mm=12.0):
    """Differences of a foot whose back is swollen."""
    model = usual_foot("left")
    inside = foot_areas("left").of[TOP]
    off = (model.mean - model.mean[inside].mean(axis=0)) / np.array([45.0, 35.0, 1e9])
    normals = vertex_normals(Mesh(model.mean, model.faces))
    out = height_mm * np.exp(-0.5 * np.sum(off**2, axis=1)) * np.clip((normals[:, 2] + 0.1) / 0.7, 0.0, 1.0)
    flat = model.modes.reshape(len(model.modes), -1)
    return _builds()[0] + np.linalg.lstsq(flat.T, (out[:, None] * normals).ravel(), rcond=None)[0]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return model_folder(tmp_path_factory.mktemp("models") / "m", leg_with_foot()[0])


@pytest.fixture
def model(folder, monkeypatch):
    """A model with a swollen back of the foot; its folder holds the leg alone, and reading adds the foot."""
    read = read_model(folder)
    found = replace(read, end=foot_below(read.limb, swollen_back(), 0.08))
    monkeypatch.setattr(care, "read_model", lambda _: found)
    return found


def test_a_swollen_back_is_written_said_and_cut(model, folder, tmp_path):
    (place,) = foot_places(model.foot, "left")
    summary = care.pad_folder(folder, tmp_path / "p")
    assert PadForm.model_validate_json((tmp_path / "p/pad.json").read_bytes()) == summary
    found = next(one for one in summary.foot_places if one.kind == "bulge")
    assert found.number == len(summary.places) + 1
    assert found.peak_mm == pytest.approx(place.peak_mm, abs=0.001)
    assert found.peak_at_mm == pytest.approx(place.peak.tolist(), abs=0.001)
    assert found.foam == (len([n for one in summary.places for n in one.foam]) + 1,)
    assert found.effect == "A bandage would press more on its crest than beside it."
    text = " ".join(pad_text(summary, tmp_path / "p").split())
    assert f"{found.number}. Bulge, top of the foot, " in text
    with (tmp_path / "p/places.csv").open(encoding="utf-8", newline="") as stream:
        rows = {row["number"]: row for row in csv.DictReader(stream)}
    assert rows[str(found.number)]["from_mm"] == ""
    assert (tmp_path / f"p/foam-{found.foam[0]}.svg").read_text().count("Front edge about") >= 1


def test_only_the_chosen_place_gets_foam_and_a_number_beyond_is_refused(model, folder, tmp_path):
    summary = care.pad_folder(folder, tmp_path / "all", every=True)
    last = len(summary.places) + len(summary.foot_places)
    only = care.pad_folder(folder, tmp_path / "one", chosen=[last])
    assert [one.number for one in (*only.places, *only.foot_places) if one.foam] == [last]
    with pytest.raises(PlanError, match=f"no place {last + 1}") as caught:
        care.pad_folder(folder, tmp_path / "two", chosen=[last + 1])
    assert f"1 to {last}" in caught.value.do
    assert not (tmp_path / "two").exists()


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_report_lists_it(model, tmp_path):
    visit = ReportVisit(model, datetime(2026, 3, 2, 9, tzinfo=UTC))
    report = make_report([visit], ReportOptions(places=True, wrap=True, despite="asked by DR-1"))
    rows = [row for row in report.form.places if row.place.startswith(TOP)]
    assert rows
    assert rows[0].from_mm is None
    json.loads(report.form.model_dump_json())
    (tmp_path / "r.pdf").write_bytes(report_pdf(report))
    words = ["pdftotext", "-layout", str(tmp_path / "r.pdf"), "-"]
    text = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    assert "top of the foot" in text
    assert "toes-" in text


def test_a_limb_without_a_measured_foot_is_as_before(folder, tmp_path):
    summary = care.pad_folder(folder, tmp_path / "p")
    assert summary.foot_places == ()
