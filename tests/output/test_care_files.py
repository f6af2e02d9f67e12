"""The folders of places for padding and of a wrap: what is found is written, drawn and said."""

import csv
import json
from xml.etree import ElementTree

import numpy as np
import pytest
from model_folders import model_folder
from PIL import Image
from solid_limbs import cone_with, limb

from digitise.care.change.compare import compare
from digitise.care.padding.advice import ADVICE_BY_FEEL
from digitise.care.padding.foam_selection import ALL_ROUND, NOT_ASKED, make_foam
from digitise.care.padding.maps import standing_out
from digitise.care.padding.regions import find_regions
from digitise.care.wrap.garment import CONFIRM, girth_list
from digitise.care.wrap.plan import read_plan
from digitise.care.wrap.sheet import wrap_sheet
from digitise.errors import OutputError, PlanError
from digitise.output.cautions import caution
from digitise.output.figures import care as care_figures
from digitise.output.figures.style import styled
from digitise.output.model.file import read_model
from digitise.output.padding.files import Padding, is_pad_file, pad_text, write_padding
from digitise.output.padding.form import AgainstForm, PadForm
from digitise.output.wrap.files import WRAP_FILES, write_wrap
from digitise.output.wrap.form import WrapForm
from digitise.output.wrap.words import wrap_text
from digitise.shape.limb import girth

# a heap of 14 mm at the back of a cone
BUMPY = limb(cone_with((14.0, -np.pi / 2, 300.0)))
PLAIN = limb(cone_with(), side="right")


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    return read_model(model_folder(tmp_path_factory.mktemp("models") / "bumpy", BUMPY))


@pytest.fixture(scope="module")
def regions():
    return find_regions(BUMPY)


@pytest.fixture(scope="module")
def padded(model, regions, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "pad"
    foam = make_foam(BUMPY, regions)
    return out, write_padding(out, Padding(model, regions, foam, code="K-017")), foam


def rows(path):
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def test_pad_json_reads_back_and_holds_the_places(padded, regions):
    out, summary, _ = padded
    assert PadForm.model_validate_json((out / "pad.json").read_bytes()) == summary
    assert json.loads((out / "pad.json").read_text())["format"] == "limb-pad/1"
    assert [place.kind for place in summary.places] == [region.kind for region in regions]
    bulge = next(place for place in summary.places if place.kind == "bulge")
    assert "back" in bulge.peak_place
    assert bulge.direction_deg == pytest.approx(270, abs=10)
    assert abs(bulge.height_mm - 300) < 10
    low, high = bulge.peak_mm_95
    assert low < bulge.peak_mm < high
    assert "taper" in bulge.why
    assert summary.caution == caution("leg")


def test_pad_writes_what_it_names_and_no_more(padded):
    out, summary, foam = padded
    names = {item.name for item in out.iterdir()}
    assert all(is_pad_file(name) for name in names)
    assert {"pad.json", "places.csv", "places.png", "places-map.png", "foam.pdf", "caution.txt"} <= names
    assert {name for name in names if name.endswith(".svg")} == {
        f"foam-{n}.svg" for n in range(1, len(foam.pieces) + 1)
    }
    numbers = [n for place in summary.places for n in place.foam]
    assert numbers == list(range(1, len(foam.pieces) + 1))
    assert "K-017" in (out / "foam-1.svg").read_text()
    assert ElementTree.parse(out / "foam-1.svg").getroot().tag.endswith("svg")
    table = rows(out / "places.csv")
    assert [int(row["number"]) for row in table] == [place.number for place in summary.places]
    for name in ("places.png", "places-map.png"):
        with Image.open(out / name) as picture:
            assert min(picture.size) > 300


def test_pad_text_names_place_advice_and_caution(padded):
    out, summary, _ = padded
    text = " ".join(pad_text(summary, out).split())
    assert "1. Bulge" in text
    assert all(f"{felt}: {do}" in text.lower() for felt, do in ADVICE_BY_FEEL["bulge"])
    assert all(line in text for line in caution("leg"))
    assert "hidden behind a convex edge" in text
    assert "Highest: back, 300 mm." in text
    assert "cannot be judged from two photographs" in text
    assert any("cannot be judged from two photographs" in note for note in summary.notes)


def test_a_plain_cone_has_no_places_and_gets_no_foam(tmp_path, model):
    found = find_regions(PLAIN)
    assert found == ()
    summary = write_padding(tmp_path / "pad", Padding(model, found, make_foam(PLAIN, found)))
    assert not (tmp_path / "pad/foam.pdf").exists()
    assert "None stands out" in pad_text(summary, "x")


def test_the_other_limb_as_reference_is_named(model, tmp_path):
    change = compare(BUMPY, PLAIN, mirrored=True, turn=0.0)
    found = find_regions(BUMPY, (standing_out(change, "the other leg"),))
    against = AgainstForm(
        words="the other leg", side="right", limb_sha256="0" * 64, created=model.summary.created
    )
    foam = make_foam(BUMPY, found)
    summary = write_padding(tmp_path / "pad", Padding(model, found, foam, against))
    assert any("the other leg" in place.why for place in summary.places)
    assert "also against the other leg" in pad_text(summary, "x")


def test_foam_is_drawn_for_chosen_places_only(regions):
    only = make_foam(BUMPY, regions, [1])
    assert only.of_place[1] == (1,)
    assert {note for number, note in only.of_place.items() if number > 1} <= {NOT_ASKED}
    with pytest.raises(PlanError, match="no place 99"):
        make_foam(BUMPY, regions, [99])
    with pytest.raises(PlanError, match="margin"):
        make_foam(BUMPY, regions, margin_mm=500.0)


def test_a_bulge_all_round_gets_foam_only_when_asked():
    thick = limb(lambda theta, z: cone_with()(theta, z) + 9.0 * np.exp(-0.5 * ((z - 300) / 30) ** 2))
    found = find_regions(thick)
    numbers = [n for n, one in enumerate(found, 1) if one.kind == "bulge" and "all round" in one.place]
    assert numbers
    assert make_foam(thick, found).of_place[numbers[0]] == ALL_ROUND
    assert make_foam(thick, found, numbers[:1]).pieces


def test_an_earlier_folder_is_replaced_and_others_files_stay(model, tmp_path):
    out = tmp_path / "pad"
    out.mkdir()
    (out / "foam-7.svg").write_text("old")
    write_padding(out, Padding(model, (), make_foam(BUMPY, ())))
    assert not (out / "foam-7.svg").exists()
    (out / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"notes\.txt"):
        write_padding(out, Padding(model, (), make_foam(BUMPY, ())))


def texts(axes):
    return {text.get_text(): text.get_position() for text in axes.texts}


def test_map_and_views_number_every_place_where_it_is(regions):
    with styled():
        (axes,) = care_figures.places_map(BUMPY, regions).axes
        views = care_figures.places_views(BUMPY, regions).axes
    written = texts(axes)
    assert set(written) == {str(n) for n in range(1, len(regions) + 1)}
    x, y = written["1"]
    # the map is cut open at the back, where the heap is: at either edge
    assert min(abs(x + 90), abs(x - 270)) <= 15
    assert abs(y - 300) <= 16
    assert "1" in texts(views[2])
    assert [panel.get_title() for panel in views] == ["front", "outer", "back", "inner"]
    assert "1" not in texts(views[0])


# ---- wrap ----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def sheet():
    return wrap_sheet(BUMPY)


@pytest.fixture(scope="module")
def wrapped(model, sheet, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "wrap"
    girths = girth_list(BUMPY, {"B": 150.0, "C": 320.0})
    return out, write_wrap(out, model, sheet, girths, suggested=True)


def test_wrap_json_reads_back_and_the_plan_round_trips(wrapped, sheet):
    out, summary = wrapped
    assert WrapForm.model_validate_json((out / "wrap.json").read_bytes()) == summary
    assert {item.name for item in out.iterdir()} == WRAP_FILES
    assert read_plan(out / "plan.toml") == sheet.plan == summary.plan
    again = wrap_sheet(BUMPY, read_plan(out / "plan.toml"))
    assert again.needs == sheet.needs
    assert summary.caution == caution("leg")


def test_wrap_figures_are_those_of_the_sheet(wrapped, sheet):
    out, summary = wrapped
    assert [(roll.kind, roll.width_mm, roll.rolls) for roll in summary.rolls] == list(sheet.rolls)
    assert [roll.rolls for roll in summary.rolls if roll.kind == "padding"] == [sheet.needs[0].rolls]
    layers, pressure = rows(out / "wrap.csv"), rows(out / "pressure.csv")
    assert [float(row["stretched_mm"]) for row in layers] == pytest.approx(
        [need.stretched_mm for need in sheet.needs], abs=1e-3
    )
    assert float(pressure[0]["relative_pressure"]) == 1.0
    assert [float(row["height_mm"]) for row in pressure] == pytest.approx(list(sheet.z), abs=1e-3)
    with styled():
        left, right = care_figures.pressure_profile(sheet).axes
    assert left.lines[0].get_xdata() == pytest.approx(sheet.relative)
    assert right.lines[0].get_ydata() == pytest.approx(sheet.z)


def test_the_girth_list_is_written_with_its_marks(wrapped):
    out, summary = wrapped
    table = {row["letter"]: row for row in rows(out / "garment.csv")}
    assert (table["B"]["height_mm"], table["B"]["set_by_hand"]) == ("150.0", "yes")
    value = float(girth(BUMPY, np.array([150.0])).mean[0])
    assert float(table["B"]["girth_mm"]) == pytest.approx(value, abs=1e-3)
    text = " ".join(wrap_text(summary, out).split())
    assert CONFIRM in text
    assert "a suggestion to edit" in text
    assert "Do not read them as a prescription" in text
    assert all(line in text for line in caution("leg"))


def test_an_edited_plan_is_not_lost(model, sheet, tmp_path):
    out = tmp_path / "wrap"
    write_wrap(out, model, sheet, suggested=True)
    write_wrap(out, model, sheet, suggested=True)  # not edited
    edited = (out / "plan.toml").read_text().replace("overlap = 0.5", "overlap = 0.6", 1)
    (out / "plan.toml").write_text(edited)
    with pytest.raises(OutputError, match="edited"):
        write_wrap(out, model, sheet, suggested=True)
    assert (out / "plan.toml").read_text() == edited
    own = wrap_sheet(BUMPY, read_plan(out / "plan.toml"))
    summary = write_wrap(out, model, own, suggested=False)
    assert summary.plan.layers[0].overlap == 0.6
    (out / "plan.toml").write_text("no longer TOML [")
    with pytest.raises(OutputError, match="edited"):
        write_wrap(out, model, sheet, suggested=True)
    (out / "plan.toml").unlink()
    (out / "letter.doc").write_text("mine")
    with pytest.raises(OutputError, match=r"letter\.doc"):
        write_wrap(out, model, sheet, suggested=True)
