"""model.json against the contract and the limb's own figures; the limb restored to the last bit."""

import dataclasses
import json
from datetime import UTC, datetime

import numpy as np
import pytest
from numpy.testing import assert_allclose
from output_support import ROWS, changed, measure

from digitise import __version__
from digitise.errors import ShapeError
from digitise.geometry.support import axis_from_points
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model_file
from digitise.output.model.form import ModelForm
from digitise.shape import limb as read
from digitise.tape.rows import TapeRow
from digitise.tape.volumes import cone_volume_ml

ROUNDED = 0.5001e-3  # figures have three decimals
CREATED = datetime(2026, 5, 4, 12, 30, tzinfo=UTC)
CONTRACT = {
    "": (
        "format limb side from_mm to_mm volume_ml volume_ml_95 cone_volume_ml sections tape_check photos "
        "warnings"
    ),
    "sections": "height_mm area_mm2 girth_mm girth_mm_95 width_mm depth_mm centre_mm",
    "tape_check": "height_mm tape_mm photo_mm difference_mm verdict",
    "photos": "file rms_px markers focal_px",
    "warnings": "code text",
}


@pytest.fixture(scope="module")
def written(measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("model")
    write_model_file(folder, measured, CREATED)
    return folder


@pytest.fixture(scope="module")
def content(written):
    return json.loads((written / "model.json").read_text(encoding="utf-8"))


def test_holds_every_field_of_the_contract(content):
    for place, names in CONTRACT.items():
        for item in content[place] if place else [content]:
            assert set(names.split()) <= set(item), place


def test_head(content, measured):
    limb = measured.fit.limb
    assert (content["format"], content["limb"], content["side"]) == ("limb-model/1", "leg", "left")
    assert_allclose([content["from_mm"], content["to_mm"]], [limb.from_mm, limb.to_mm], atol=ROUNDED)
    assert content["created"] == "2026-05-04T12:30:00Z"
    assert content["software"] == {"name": "digitise", "version": __version__}
    assert "foot" in content["not_included"][0]
    assert any("not a diagnosis" in sentence for sentence in content["caution"])
    assert content["method"]


def test_volumes_are_those_of_the_limb(content, measured):
    limb = measured.fit.limb
    whole = read.volume(limb, limb.from_mm, limb.to_mm)
    assert_allclose(content["volume_ml"], whole.mean, atol=ROUNDED)
    assert_allclose(content["volume_ml_95"], whole.interval_95, atol=ROUNDED)
    assert [s["from_mm"] for s in content["stretches"]] == [100.123, 200, 300]
    for segment in content["stretches"]:
        low, high = max(segment["from_mm"], limb.from_mm), segment["to_mm"]
        part = read.volume(limb, low, high)
        assert_allclose(segment["volume_ml"], part.mean, atol=ROUNDED)
        assert_allclose(segment["volume_ml_95"], part.interval_95, atol=ROUNDED)
    total = sum(segment["volume_ml"] for segment in content["stretches"])
    assert_allclose(total, content["volume_ml"], atol=4 * ROUNDED)


def test_sections_are_those_of_the_limb(content, measured):
    limb = measured.fit.limb
    sections = content["sections"]
    heights = np.array([section["height_mm"] for section in sections])
    assert_allclose(heights, [100.123, *np.arange(110, 401, 10)], atol=1e-9)
    heights[0] = limb.from_mm
    for name, values in (
        ("girth_mm", read.girth(limb, heights)),
        ("area_mm2", read.area(limb, heights)),
    ):
        assert_allclose([section[name] for section in sections], values.mean, atol=ROUNDED)
        ends = np.array([section[f"{name}_95"] for section in sections]).T
        assert_allclose(ends, values.interval_95, atol=ROUNDED)
    for name, angle in (("width_mm", 0.0), ("depth_mm", np.pi / 2)):
        wanted = read.extent(limb, heights, angle).mean
        assert_allclose([section[name] for section in sections], wanted, atol=ROUNDED)
    centres = read.coefficients(limb, heights)[0][:, 1:3]
    assert_allclose([section["centre_mm"] for section in sections], centres, atol=ROUNDED)


def test_tape_check_and_cones(content, measured):
    assert [row["height_mm"] for row in content["tape_check"]] == list(ROWS)
    for row, check in zip(content["tape_check"], measured.fit.tape_checks, strict=True):
        assert row["verdict"] == check.verdict
        assert_allclose(row["difference_mm"], row["tape_mm"] - row["photo_mm"], atol=2 * ROUNDED)
    cone = cone_volume_ml(measured.tape, measured.fit.limb.from_mm, 400.0, reach_mm=150)
    assert_allclose(content["cone_volume_ml"], cone, atol=ROUNDED)
    assert content["cone_note"] == (
        "From 4 tape girths as read. The end girths are carried on 20 mm below the lowest and 70 mm above "
        "the highest row."
    )


def test_photographs(content, measured):
    front, side = content["photos"]
    assert front == {
        "file": "photo-1.jpg",
        "rms_px": 0.41,
        "markers": 4,
        "focal_px": 3000.0,
        "distance_mm": 1600.0,
        "markers_by_board": {"mat": 3, "backdrop-a": 1},
        "sha256": measured.photos[0].sha256,
        "outline": "outline-1.jpg",
        "camera": front["camera"],
        "drawn": None,
        "kept_sha256": None,
    }
    assert (side["markers"], side["outline"]) == (3, "outline-2.jpg")


def test_findings_that_matter_are_warnings_too(content):
    assert len(content["findings"]) == 2
    texts = [w["text"] for w in content["warnings"] if w["code"] == "exposed"]
    assert texts == ["photo-2.jpg: The picture is dark. Switch on a light."]
    assert all(w["code"] != "sharp" for w in content["warnings"])


def test_limb_comes_back_to_the_last_bit(written, measured):
    stored, limb = read_model(written), measured.fit.limb
    for name in ("mean", "covariance", "prior_mean", "prior_precision"):
        assert np.array_equal(getattr(stored.limb, name), getattr(limb, name)), name
    for name in ("kind", "side", "from_mm", "to_mm"):
        assert getattr(stored.limb, name) == getattr(limb, name)
    assert stored.limb.basis.order == limb.basis.order
    assert stored.limb.basis.harmonics == limb.basis.harmonics
    assert np.array_equal(stored.limb.basis.knots, limb.basis.knots)
    assert np.array_equal(stored.limb.axis_from_world.rotation, limb.axis_from_world.rotation)
    assert np.array_equal(stored.limb.axis_from_world.translation, limb.axis_from_world.translation)


def test_an_arm_along_a_slanted_axis_comes_back(tmp_path):
    axis = axis_from_points(np.array([10.0, -5.0, 3.0]), np.array([60.0, 20.0, 600.0]))
    arm = measure(axis, limb="arm", side="right")
    write_model_file(tmp_path, arm)
    stored = read_model(tmp_path)
    assert (stored.limb.kind, stored.limb.side) == ("arm", "right")
    assert np.array_equal(stored.limb.axis_from_world.rotation, axis.rotation)
    assert_allclose(stored.summary.axis_from_world.rotation, axis.rotation, rtol=0, atol=0)
    assert "hand" in stored.summary.not_included[0]
    assert stored.summary.foot_top_mm is None


def test_tape_rows_that_are_not_seen_are_null(measured, tmp_path):
    tape = (*measured.tape, TapeRow(700.0, 400.0, 9))
    checks = measured.fit.tape_checks
    unseen = dataclasses.replace(
        checks[0],
        row=tape[-1],
        verdict="not seen",
        photo_mm=float("nan"),
        photo_sd_mm=float("nan"),
        difference_mm=float("nan"),
    )
    fit = dataclasses.replace(measured.fit, tape_checks=(*checks, unseen))
    write_model_file(tmp_path, dataclasses.replace(measured, tape=tape, fit=fit))
    row = json.loads((tmp_path / "model.json").read_text())["tape_check"][-1]
    assert (row["photo_mm"], row["difference_mm"], row["verdict"]) == (None, None, "not seen")
    read_model(tmp_path)


@pytest.mark.parametrize(
    ("tape", "words"),
    [
        ((), "no tape rows"),
        ((TapeRow(120.0, 300.0), TapeRow(200.0, 330.0)), "200 mm beyond"),
        # the girth between would be drawn straight through all of the limb
        ((TapeRow(20.0, 300.0), TapeRow(1200.0, 600.0)), "no tape row lies on"),
    ],
)
def test_without_enough_tape_there_is_no_cone_sum(measured, tmp_path, tape, words):
    summary = write_model_file(tmp_path, dataclasses.replace(measured, tape=tape))
    assert summary.cone_volume_ml is None
    assert words in summary.cone_note
    assert [w.code for w in summary.warnings].count("no-cones") == 1
    assert read_model(tmp_path).summary == summary


def test_suspect_rows_in_the_cone_sum_are_named(measured, tmp_path):
    checks = measured.fit.tape_checks
    suspect = dataclasses.replace(checks[1], verdict="suspect")
    fit = dataclasses.replace(measured.fit, tape_checks=(checks[0], suspect, *checks[2:]))
    summary = write_model_file(tmp_path, dataclasses.replace(measured, fit=fit))
    assert "suspect" in summary.cone_note


NAMES = {
    # a line end, a terminal command, a byte that is no UTF-8
    "odd": ("a\nb\x1b[31m\udcff.jpg", "c.JPEG", ("photo-1.jpg", "photo-2.jpeg")),
    "of a person": ("Maria Muster.HEIC", "scan.maria", ("photo-1.heic", "photo-2")),
    "the other way round": ("photo-2.jpg", "photo-1.jpg", ("photo-1.jpg", "photo-2.jpg")),
    "the same": ("limb.png", "limb.png", ("photo-1.png", "photo-2.png")),
}


@pytest.mark.parametrize("case", NAMES)
def test_file_names_are_not_passed_on(measured, tmp_path, case):
    *given, wanted = NAMES[case]
    photos = tuple(
        dataclasses.replace(photo, name=name) for photo, name in zip(measured.photos, given, strict=True)
    )
    findings = tuple(
        dataclasses.replace(finding, photo=name)
        for finding, name in zip(measured.findings, given, strict=True)
    )
    summary = write_model_file(
        tmp_path, dataclasses.replace(measured, photos=photos, findings=findings), CREATED
    )
    assert tuple(photo.file for photo in summary.photos) == wanted
    written = (tmp_path / "model.json").read_text(encoding="utf-8").lower()
    assert "maria" not in written
    both = " or ".join(wanted)
    told = [both, both] if given[0] == given[1] else list(wanted)
    assert [finding.photo for finding in summary.findings] == told
    assert f"{told[1]}: The picture is dark. Switch on a light." in [w.text for w in summary.warnings]
    assert read_model(tmp_path).summary == summary


def test_figures_of_no_limb_are_refused(measured, tmp_path):
    with pytest.raises(ShapeError, match="cannot be a limb"):
        write_model_file(tmp_path, changed(measured, mean=20 * measured.fit.limb.mean))
    assert not list(tmp_path.iterdir())


def test_schema_names_the_contract():
    schema = ModelForm.model_json_schema()
    assert set(CONTRACT[""].split()) <= set(schema["required"])
    section = schema["$defs"]["SectionForm"]["required"]
    assert set(CONTRACT["sections"].split()) <= set(section)


def test_fields_of_later_versions_are_left_aside(written, tmp_path, content):
    (tmp_path / "limb.npz").write_bytes((written / "limb.npz").read_bytes())
    (tmp_path / "model.json").write_text(json.dumps({**content, "shoe_size": 42, "seal": None}))
    assert read_model(tmp_path).summary.volume_ml == content["volume_ml"]
