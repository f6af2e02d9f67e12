"""The shipped schemas are those of the forms, and an independent validator finds our files to be valid."""

import json
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest
from output_support import changed
from solid_limbs import cone_with, limb

from digitise.capture.sheets.field import field_from_json, write_field
from digitise.care.change.compare import compare
from digitise.care.wrap.plan import plan_to_toml
from digitise.care.wrap.suggestion import suggest_plan
from digitise.output.change.files import write_change
from digitise.output.change.summarise import Compared
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.report.content import ReportVisit
from digitise.output.schemas import schemas
from digitise.workflow.report import make_report

ROOT = Path(__file__).parents[2]
SHIPPED = ROOT / "docs/schemas"
FIELD = ROOT / "sample-images/pair-calf-week0/field.json"


def valid(name, content):
    """Check content as JSON readers of other programs would see it."""
    schema = json.loads((SHIPPED / name).read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.Draft202012Validator(schema).validate(content)


@pytest.fixture(scope="module")
def model(measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("schemas") / "limb"
    write_model(folder, measured)
    return folder


def test_shipped_schemas_are_those_of_the_forms():
    shipped = {path.name: path.read_text(encoding="utf-8") for path in SHIPPED.glob("*.json")}
    assert shipped == schemas(), "run: python -m digitise.output.schemas docs/schemas"


def test_a_model_is_valid(model):
    valid("limb-model-1.json", json.loads((model / "model.json").read_text(encoding="utf-8")))


def test_a_report_is_valid(model):
    report = make_report([ReportVisit(read_model(model), datetime(2026, 3, 2, tzinfo=UTC))])
    valid("limb-report-1.json", report.form.model_dump(mode="json"))


def test_a_comparison_is_valid(measured, model, tmp_path):
    write_model(tmp_path / "later", changed(measured, mean=0.98 * measured.fit.limb.mean))
    one, other = read_model(model), read_model(tmp_path / "later")
    change = compare(one.limb, other.limb)
    form = write_change(tmp_path / "change", Compared(change, one.summary, other.summary, False))
    valid("limb-change-1.json", form.model_dump(mode="json"))


def test_a_field_is_valid(tmp_path):
    valid("marker-field-1.json", json.loads(FIELD.read_text(encoding="utf-8")))
    write_field(field_from_json(FIELD.read_text(encoding="utf-8"), "field.json"), tmp_path / "field.json")
    valid("marker-field-1.json", json.loads((tmp_path / "field.json").read_text(encoding="utf-8")))


def test_a_plan_is_valid():
    plan = plan_to_toml(suggest_plan(limb(cone_with((6.0, 0.5, 300.0)))))
    valid("wrap-plan.json", tomllib.loads(plan))


@pytest.mark.parametrize("key", ["format", "volume_ml", "sections", "caution"])
def test_what_is_missing_or_wrong_is_found(model, key):
    content = json.loads((model / "model.json").read_text(encoding="utf-8"))
    content[key] = -1
    with pytest.raises(jsonschema.ValidationError):
        valid("limb-model-1.json", content)
    del content[key]
    with pytest.raises(jsonschema.ValidationError):
        valid("limb-model-1.json", content)
