"""FHIR: a Bundle that an independent implementation accepts, with the figures of model.json."""

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from fhir.resources.R4B.bundle import Bundle
from output_support import changed, with_own_photos

from digitise.care.change.align import mirror
from digitise.output.model.file import StoredModel, read_model
from digitise.output.model.files import write_model
from digitise.output.report.content import ReportVisit
from digitise.output.report.fhir import HEIGHT, LOWER, UPPER, fhir_bundle, fhir_text
from digitise.workflow.report import make_report

# noon of a place two hours east of Greenwich
START = datetime(2026, 3, 2, 12, tzinfo=timezone(timedelta(hours=2)))


@pytest.fixture(scope="module")
def visits(measured, tmp_path_factory):
    found = []
    for n, share in enumerate((1.04, 1.0)):
        folder = tmp_path_factory.mktemp("fhir") / "visit"
        write_model(folder, with_own_photos(changed(measured, mean=share * measured.fit.limb.mean), n))
        found.append(ReportVisit(read_model(folder), START + timedelta(days=7 * n)))
    last = found[-1].model
    other = StoredModel(mirror(last.limb), last.summary.model_copy(update={"side": "right"}))
    return [found[0], replace(found[1], other=other)]


@pytest.fixture(scope="module")
def report(visits):
    return make_report(visits, client="K-017", created=datetime(2026, 3, 10, tzinfo=UTC))


@pytest.fixture(scope="module")
def bundle(visits, report):
    return json.loads(fhir_text(fhir_bundle(visits, report)))


def observations(bundle, what):
    found = [entry["resource"] for entry in bundle["entry"]]
    return [one for one in found if one["code"]["text"] == what]


def test_an_independent_implementation_accepts_it(bundle):
    """FHIR R4 and R4B have the same Bundle and Observation."""
    read = Bundle.model_validate(bundle)
    assert len(read.entry) == len(bundle["entry"])
    assert {entry.resource.get_resource_type() for entry in read.entry} == {"Observation"}
    assert json.loads(read.model_dump_json())["type"] == "collection"


def test_volumes_and_girths_are_those_of_the_models(bundle, visits):
    volumes = observations(bundle, "Volume of the limb between two heights")
    assert len(volumes) == len(visits)
    for one, visit in zip(volumes, visits, strict=True):
        summary = visit.model.summary
        assert one["valueQuantity"]["value"] == summary.volume_ml
        ends = {part["code"]["text"]: part["valueQuantity"]["value"] for part in one["component"]}
        assert (ends[LOWER], ends[UPPER]) == summary.volume_ml_95
    girths = observations(bundle, "Girth of the limb")
    sections = [section for visit in visits for section in visit.model.summary.sections]
    assert len(girths) == len(sections)
    for one, section in zip(girths, sections, strict=True):
        parts = {part["code"]["text"]: part["valueQuantity"] for part in one["component"]}
        assert one["valueQuantity"]["value"] == section.girth_mm
        assert parts[HEIGHT.format("the mat")]["value"] == section.height_mm
        assert (parts[LOWER]["value"], parts[UPPER]["value"]) == section.girth_mm_95


def test_excess_is_that_of_the_report(bundle, report):
    (over,) = observations(bundle, "Volume of the limb minus that of the other limb")
    assert over["valueQuantity"]["value"] == report.form.visits[-1].excess_ml.value


def test_every_observation_says_who_when_where_how_and_in_which_unit(bundle):
    ids = set()
    for entry in bundle["entry"]:
        one = entry["resource"]
        ids.add(one["id"])
        assert entry["fullUrl"] == f"urn:uuid:{one['id']}"
        assert one["status"] == "final"
        assert one["subject"]["identifier"]["value"] == "K-017"
        assert one["effectiveDateTime"] in ("2026-03-02T10:00:00Z", "2026-03-09T10:00:00Z")
        assert one["bodySite"]["text"].startswith("Left leg")
        assert one["method"]["text"]
        for quantity in [one["valueQuantity"], *(part["valueQuantity"] for part in one["component"])]:
            assert quantity["system"] == "http://unitsofmeasure.org"
            assert quantity["code"] in ("mL", "mm")
    assert len(ids) == len(bundle["entry"])


def test_the_same_visits_give_the_same_ids(visits, report, bundle):
    assert json.loads(fhir_text(fhir_bundle(visits[::-1], report))) == bundle


def test_without_a_client_there_is_no_subject(visits):
    alone = [replace(visits[1], other=None)]
    bundle = fhir_bundle(alone, make_report(alone))
    assert all("subject" not in entry["resource"] for entry in bundle["entry"])
    Bundle.model_validate(bundle)
