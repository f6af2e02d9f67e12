"""The foot in the course, the study of repeats, the study's tables and the exchange file."""

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from fhir.resources.R4B.bundle import Bundle
from output_support import measure

from digitise.output.course.form import course_form
from digitise.output.course.repeat_form import repeat_form
from digitise.output.course.volumes import repeated_ends, stored_ends, stored_volume
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.model.form import SegmentForm, TapedEndForm
from digitise.output.model.place_girths import place_girths
from digitise.output.report.content import ReportVisit
from digitise.output.report.fhir import LOWER, SITES, SNOMED, UPPER, fhir_bundle
from digitise.output.study.columns import ENDS, PLACES
from digitise.output.study.rows import model_rows
from digitise.shape.limb import Z95
from digitise.tape.rows import PlaceGirth
from digitise.workflow.course import follow, study
from digitise.workflow.report import make_report
from digitise.workflow.visits.measured import VisitMeasurement
from digitise.workflow.visits.sources import with_others

START = datetime(2026, 3, 2, 9, tzinfo=UTC)
SD = 15.0


def foot(volume_ml, top_mm):
    half = Z95 * SD
    return SegmentForm.model_construct(
        name="foot", from_mm=0.0, to_mm=top_mm, volume_ml=volume_ml,
        volume_ml_95=(volume_ml - half, volume_ml + half),
        length_mm=262.0, length_mm_95=(258.0, 266.0), sections=(), photos=(),
        ball_girth_mm=240.0, ball_girth_mm_95=(232.0, 248.0),
        heel_instep_girth_mm=330.0, heel_instep_girth_mm_95=(320.0, 340.0),
    )  # fmt: skip


@pytest.fixture(scope="module")
def stored(tmp_path_factory):
    """A leg between 100 and 400 mm, as it is read back."""
    folder = tmp_path_factory.mktemp("m") / "m"
    write_model(folder, measure(from_mm=100.0, to_mm=400.0), START)
    return read_model(folder)


def with_foot(stored, volume_ml, **more):
    summary = stored.summary
    return summary.model_copy(update={"segments": (foot(volume_ml, summary.from_mm),), **more})


def visits_of(*summaries):
    return [VisitMeasurement(one, START + timedelta(days=7 * n), str(n)) for n, one in enumerate(summaries)]


def test_the_foot_is_told_below_the_height_that_all_visits_share(stored):
    summary = with_foot(stored, 1200.0)
    assert stored_ends(summary, 100.0)["foot"] == pytest.approx((1200.0, SD))
    between = stored_volume(summary, 100.0, 120.0)
    higher = stored_ends(summary, 120.0)["foot"]
    assert higher.mean == pytest.approx(1200.0 + between.mean)
    assert higher.sd == pytest.approx(math.hypot(SD, between.sd))
    assert stored_ends(stored.summary, 120.0) == {}


def test_the_course_follows_the_foot(stored):
    visits = visits_of(with_foot(stored, 1200.0), stored.summary, with_foot(stored, 1100.0))
    form = course_form(follow(with_others(visits, ())), "leg", "left")
    assert [set(visit.ends_ml) for visit in form.visits] == [{"foot"}, set(), {"foot"}]
    assert form.visits[2].ends_ml["foot"].value == 1100.0
    text = " ".join(form.sentences)
    # two errors of 15 mL: 100 mL of change are known to 1.96 sqrt(2) 15 = 41.6 mL
    assert "Foot, below 100 mm: on 2026-03-16 it measured 1100 mL (95 % interval 1071 to 1129)." in text
    assert "Foot, since 2026-03-02 it lost 100 mL or 8.3 % of the foot (95 % interval -142 to -58" in text
    small = visits_of(with_foot(stored, 1200.0), with_foot(stored, 1180.0))
    text = " ".join(course_form(follow(with_others(small, ())), "leg", "left").sentences)
    assert "Foot, since 2026-03-02: no clear change (-20 mL, 95 % interval -62 to +22)." in text


def test_feet_that_one_visit_alone_has_tell_no_change(stored):
    alone = course_form(follow(with_others(visits_of(with_foot(stored, 1200.0)), ())), "leg", "left")
    text = " ".join(alone.sentences)
    assert "Foot, below 100 mm" in text
    assert "Foot, since" not in text


def test_repeats_tell_the_error_of_a_foot(stored):
    """Two pairs 10 and 20 mL apart: the pooled variance of one is (100 + 400) / 4."""
    other = stored.summary.model_copy(update={"side": "right"})
    groups = (
        (with_foot(stored, 1200.0), with_foot(stored, 1210.0)),
        tuple(other.model_copy(update={"segments": (foot(v, 100.0),)}) for v in (900.0, 920.0)),
    )
    scaled = [
        one.model_copy(
            update={"volume_ml": one.volume_ml * (1 + 0.002 * n), "limb_sha256": f"{n}" * 64, "photos": ()}
        )
        for n, one in enumerate(one for group in groups for one in group)
    ]
    minutes = (START + timedelta(minutes=10 * n) for n in range(4))
    visits = [VisitMeasurement(one, when, f"{when}") for one, when in zip(scaled, minutes, strict=True)]
    form = repeat_form(*study(visits))
    assert form.ends["foot"].groups == 2
    assert form.ends["foot"].measurements == 4
    assert form.ends["foot"].sem_ml.value == pytest.approx(math.sqrt(125.0), abs=0.001)
    assert form.ends["foot"].mdc95_ml == pytest.approx(Z95 * math.sqrt(250.0), abs=0.001)
    assert form.groups[0].ends_ml == {"foot": (1200.0, 1210.0)}
    assert "Foot, 4 measurements of 2: error of one (SEM) 11 mL" in " ".join(form.sentences)


def test_a_foot_that_one_of_the_repeats_lacks_is_left_out(stored):
    assert repeated_ends([with_foot(stored, 1200.0), stored.summary], 100.0) == {}


TAPED = TapedEndForm(part="foot", below_mm=100.0, volume_ml=1150.0, volume_ml_95=(1015.0, 1285.0))
ROWS = (PlaceGirth("heel-instep", 336.0), PlaceGirth("foot-length", 262.0), PlaceGirth("mid-foot", 250.0))


def taped(stored):
    summary = with_foot(stored, 1200.0)
    rows = tuple(place_girths(ROWS, summary.segments))
    return summary.model_copy(update={"place_girths": rows, "taped_end": TAPED})


def test_a_study_holds_feet_and_places(stored):
    tables = {table.name: list(rows) for table, rows in model_rows(7, taped(stored))}
    half = Z95 * SD
    assert tables["ends"] == [
        (7, 1, "foot", "photographs", 100.0, 1200.0, 1200.0 - half, 1200.0 + half, 262.0),
        (7, 2, "foot", "tape alone", 100.0, 1150.0, 1015.0, 1285.0, None),
    ]
    assert [row[2:5] for row in tables["places"]] == [
        ("heel-instep", 336.0, 330.0),
        ("foot-length", 262.0, 262.0),
        ("mid-foot", 250.0, None),
    ]
    for table in (ENDS, PLACES):
        assert all(len(row) == len(table.columns) for row in tables[table.name])
    without = {table.name: list(rows) for table, rows in model_rows(1, stored.summary)}
    assert without["ends"] == without["places"] == []


def test_the_exchange_file_says_where_by_code_and_by_text(stored):
    visit = ReportVisit(replace(stored, summary=taped(stored)), START)
    bundle = fhir_bundle([visit], make_report([visit], client="K-017", created=START))
    Bundle.model_validate(json.loads(json.dumps(bundle)))
    every = [entry["resource"] for entry in bundle["entry"]]
    found = {one["code"]["text"]: one for one in every}
    assert len({one["id"] for one in every}) == len(every)
    volume = found["Volume of the foot"]
    assert volume["valueQuantity"]["value"] == 1200.0
    assert volume["bodySite"]["text"] == "Left foot, below 100 mm"
    (code,) = volume["bodySite"]["coding"]
    assert (code["system"], code["code"], code["display"]) == (SNOMED, *SITES["foot"])
    alone = found["Volume of the foot by tape alone"]
    assert alone["method"]["text"].startswith("Estimated from")
    ends = {part["code"]["text"]: part["valueQuantity"]["value"] for part in alone["component"]}
    assert (ends[LOWER], ends[UPPER]) == TAPED.volume_ml_95
    assert found["Girth by tape: heel and instep"]["valueQuantity"]["value"] == 336.0
    assert found["Length by tape: length of the foot"]["method"]["text"] == "Tape"
    limb = found["Volume of the limb between two heights"]
    assert limb["bodySite"]["coding"][0]["code"] == SITES["leg"][0]
