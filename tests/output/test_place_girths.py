"""Girths taped on foot or hand go wherever girths go, and into no volume."""

import csv
import json
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from output_support import changed, with_own_photos

from digitise.care.wrap.garment import girth_list
from digitise.care.wrap.sheet import wrap_sheet
from digitise.care.wrap.suggestion import suggest_plan
from digitise.output.course.form import course_form
from digitise.output.model.agreement import seal_of
from digitise.output.model.file import read_model, summary_from_json
from digitise.output.model.files import model_text, write_model
from digitise.output.model.form import SegmentForm
from digitise.output.model.place_girths import doubts, place_girths
from digitise.output.model.words import summary_text
from digitise.output.report.content import ReportVisit
from digitise.output.report.parts import taped_end_row
from digitise.output.report.pdf import report_pdf
from digitise.output.report.words import taped_end_sentence
from digitise.output.wrap.files import write_wrap
from digitise.output.wrap.words import wrap_text
from digitise.tape.ends import foot_ml
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.workflow.course import follow
from digitise.workflow.report import ReportOptions, make_report
from digitise.workflow.visits.sources import from_folders, with_others

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
FOOT = SegmentForm.model_construct(
    name="foot",
    length_mm=262.0, length_mm_95=(258.0, 266.0),
    ball_girth_mm=240.0, ball_girth_mm_95=(232.0, 248.0),
    heel_instep_girth_mm=330.0, heel_instep_girth_mm_95=(320.0, 340.0),
)  # fmt: skip
TAPED = (PlaceGirth("ball-of-foot", 241.5, 3), PlaceGirth("figure-of-eight", 512.0, 4, 90.0))


@pytest.mark.parametrize(
    ("place", "girth", "verdict"),
    [
        # 4 mm beyond the ends of the interval
        ("ball-of-foot", 252.0, "agrees"),
        ("ball-of-foot", 252.5, "differs"),
        ("ball-of-foot", 228.0, "agrees"),
        ("ball-of-foot", 227.5, "differs"),
        ("heel-instep", 344.0, "agrees"),
        ("heel-instep", 345.0, "differs"),
        ("foot-length", 269.0, "agrees"),
        ("foot-length", 271.0, "differs"),
        ("mid-foot", 240.0, "not seen"),
    ],
)
def test_the_tape_beside_the_photographs(place, girth, verdict):
    (found,) = place_girths([PlaceGirth(place, girth)], [FOOT])
    assert found.verdict == verdict
    photo = {"ball-of-foot": 240.0, "heel-instep": 330.0, "foot-length": 262.0}.get(place)
    assert found.photo_mm == photo
    assert found.difference_mm == (None if photo is None else girth - photo)


def test_without_a_measured_foot_nothing_is_compared():
    found = list(place_girths(TAPED, ()))
    assert {row.verdict for row in found} == {"not seen"}
    assert [(row.place, row.girth_mm, row.height_mm) for row in found] == [
        ("ball-of-foot", 241.5, None),
        ("figure-of-eight", 512.0, 90.0),
    ]


@pytest.fixture(scope="module")
def folders(measured, tmp_path_factory):
    """Three visits: taped, not taped, and taped with a smaller ball of the foot alone."""
    root, mean = tmp_path_factory.mktemp("visits"), measured.fit.limb.mean
    every = (TAPED, (), (PlaceGirth("ball-of-foot", 229.5), PlaceGirth("figure-of-eight", 507.0)))
    for n, places in enumerate(every):
        visit = replace(with_own_photos(changed(measured, mean=(1.04 - 0.02 * n) * mean), n), places=places)
        write_model(root / str(n), visit, START + timedelta(days=7 * n))
    return [root / str(n) for n in range(3)]


def test_the_limb_and_its_volume_stay_as_they_were(measured):
    with_places = model_text(replace(measured, places=TAPED), START)
    without = model_text(measured, START)
    assert with_places.limb == without.limb
    own = {name: value for name, value in json.loads(with_places.json).items() if name != "seal"}
    assert [row["place"] for row in own.pop("place_girths")] == ["ball-of-foot", "figure-of-eight"]
    other = json.loads(without.json)
    assert other.pop("place_girths") == []
    del other["seal"]
    assert own == other


def test_a_model_of_an_earlier_version_is_read(measured):
    content = json.loads(model_text(measured, START).json)
    del content["place_girths"]
    assert summary_from_json(json.dumps(content | {"seal": seal_of(content)}), "old").place_girths == ()


def test_words_of_a_model(folders):
    summary = read_model(folders[0]).summary
    text = " ".join(summary_text(summary, "x").split())
    assert "ball of the foot: tape 242 mm; the photographs do not tell it" in text
    (row,) = place_girths([PlaceGirth("ball-of-foot", 253.0)], [FOOT])
    text = " ".join(summary_text(summary.model_copy(update={"place_girths": (row,)}), "x").split())
    assert "ball of the foot: tape 253 mm, photographs 240 ± 8 mm: differs more than expected" in text


def test_the_girth_list_holds_them_as_taped(folders, tmp_path):
    model = read_model(folders[0])
    sheet = wrap_sheet(model.limb, suggest_plan(model.limb))
    (doubted,) = place_girths([PlaceGirth("heel-instep", 360.0)], [FOOT])
    known = model.summary.model_copy(update={"place_girths": (*model.summary.place_girths, doubted)})
    summary = write_wrap(
        tmp_path / "w", replace(model, summary=known), sheet, girth_list(model.limb), suggested=True
    )
    with (tmp_path / "w/garment.csv").open(encoding="utf-8", newline="") as stream:
        table = {row["place"]: row for row in csv.DictReader(stream) if row["source"] == "tape"}
    assert {place: float(row["girth_mm"]) for place, row in table.items()} == {
        "ball of the foot": 241.5,
        "figure of eight": 512.0,
        "heel and instep": 360.0,
    }
    text = " ".join(wrap_text(summary, tmp_path / "w").split())
    assert "Ball of the foot: girth 242 mm, as taped" in text
    assert "Heel and instep: girth 360 mm, as taped; the photographs say 330 mm: tape it again" in text


def test_the_course_follows_them(folders):
    visits = from_folders(folders, [START + timedelta(days=7 * n) for n in range(3)])
    found = follow(with_others(visits, ()))
    form = course_form(found, "leg", "left")
    assert [visit.place_girths_mm for visit in form.visits] == [
        {"ball-of-foot": 241.5, "figure-of-eight": 512.0},
        {},
        {"ball-of-foot": 229.5, "figure-of-eight": 507.0},
    ]
    text = " ".join(form.sentences)
    # two readings with an sd of 3 mm each differ by 1.96 * sqrt(2) * 3 = 8.3 mm
    assert "by tape: on 2026-03-02 it read 242 mm; on 2026-03-16 it read 230 mm (-12 mm). " in text
    assert "it read 507 mm (-5 mm, no clear change: two readings may differ by 8 mm)" in text


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
def test_the_report_states_them(folders, tmp_path):
    model = read_model(folders[0])
    (seen,) = place_girths([PlaceGirth("heel-instep", 336.0)], [FOOT])
    summary = model.summary.model_copy(update={"place_girths": (*model.summary.place_girths, seen)})
    visit = ReportVisit(replace(model, summary=summary), START)
    report = make_report([visit], ReportOptions(garment=True, despite="asked by DR-1"))
    assert [(row.name, row.tape_mm, row.verdict) for row in report.form.place_girths] == [
        ("ball-of-foot", 242.0, "not seen"),
        ("figure-of-eight", 512.0, "not seen"),
        ("heel-instep", 336.0, "agrees"),
    ]
    (tmp_path / "r.pdf").write_bytes(report_pdf(report))
    words = ["pdftotext", str(tmp_path / "r.pdf"), "-"]
    text = " ".join(subprocess.run(words, capture_output=True, text=True, check=True).stdout.split())
    assert "figure of eight 512 mm; heel and instep 336 mm (agrees: photographs 330 mm, 95 %" in text
    assert "Ball of the foot: 242 mm, as taped." in text


def test_a_place_that_differs_is_told_among_the_warnings():
    rows = list(place_girths([PlaceGirth("heel-instep", 360.0), PlaceGirth("ball-of-foot", 240.0)], [FOOT]))
    assert list(doubts(rows)) == [
        "Heel and instep: the tape says 360 mm, the photographs say 330 mm: tape it again."
    ]


LENGTH = (*TAPED, PlaceGirth("heel-instep", 335.0), PlaceGirth("foot-length", 262.0))


def test_foot_by_tape_alone_stands_beside_the_limb_and_in_no_other_volume(measured, tmp_path):
    rows = (TapeRow(120.0, 250.0), *measured.tape)
    taped = replace(measured, places=LENGTH, tape=rows)
    content = json.loads(model_text(taped, START).json)
    end = content["taped_end"]
    volume = foot_ml(262.0, 241.5, 335.0, 120.0, 250.0)
    assert end["volume_ml"] == pytest.approx(volume, abs=0.001)
    # an sd of 6 %
    half = 1.96 * 0.06 * volume
    assert end["volume_ml_95"] == pytest.approx([volume - half, volume + half], abs=0.1)
    assert (end["below_mm"], end["photographs_ml"], end["note"]) == (120.0, None, "")
    without = json.loads(model_text(measured, START).json)
    assert content["volume_ml"] == without["volume_ml"]
    assert content["volume_ml_whole"] is without["volume_ml_whole"] is None
    text = " ".join(summary_text(write_model(tmp_path / "m", taped, START), "x").split())
    assert f"Foot below 120 mm, estimated by tape alone: {volume:.0f} ± {half:.0f} mL." in text.replace(
        "1 ", "1"
    )
    assert "length of the foot: tape 262 mm; the photographs do not tell it" in text


def test_girths_that_do_not_suffice_make_a_sentence_and_no_number(measured, tmp_path):
    taped = replace(measured, places=(PlaceGirth("foot-length", 262.0),))
    summary = write_model(tmp_path / "m", taped, START)
    assert summary.taped_end.volume_ml is None
    assert "tape also the ball of the foot, heel and instep" in " ".join(summary_text(summary, "x").split())
    words = taped_end_sentence(taped_end_row(summary))
    assert words.startswith("Foot by tape alone: none. For an estimate by tape alone, tape also")


def test_a_length_is_called_no_girth_and_is_not_followed(measured, tmp_path):
    folder = tmp_path / "m"
    write_model(folder, replace(measured, places=LENGTH), START)
    model = read_model(folder)
    sheet = wrap_sheet(model.limb, suggest_plan(model.limb))
    made = write_wrap(tmp_path / "w", model, sheet, girth_list(model.limb), suggested=True)
    assert "Length of the foot: 262 mm, as taped" in " ".join(wrap_text(made, "w").split())
    (visit,) = course_form(follow(with_others(from_folders([folder], [START]), ())), "leg", "left").visits
    assert set(visit.place_girths_mm) == {"ball-of-foot", "figure-of-eight", "heel-instep"}
