"""The folder of a comparison: figures, colours and pictures say what the comparison found."""

import csv
import json
import struct
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from matplotlib.colors import to_rgb
from model_folders import model_folder
from numpy.testing import assert_allclose
from PIL import Image
from solid_limbs import cone_with, limb

from digitise.care.change.compare import area_change, compare
from digitise.errors import OutputError
from digitise.output.cautions import caution
from digitise.output.change.files import CHANGE_FILES, is_change_file, section_heights, write_change
from digitise.output.change.form import ChangeForm
from digitise.output.change.meshes import vertex_colours
from digitise.output.change.summarise import Compared, change_form
from digitise.output.change.words import change_text, change_warnings
from digitise.output.figures import style
from digitise.output.model.file import read_model
from digitise.shape.limb import area
from digitise.shape.mesh import limb_mesh

# the first limb has a heap of 14 mm at its back, the second one of 6 mm
FIRST = limb(cone_with((14.0, -np.pi / 2, 300.0)))
SECOND = limb(cone_with((6.0, -np.pi / 2, 300.0)))
OTHER = limb(cone_with(), side="right")


@pytest.fixture(scope="module")
def models(tmp_path_factory):
    place = tmp_path_factory.mktemp("models")
    limbs = {"first": FIRST, "second": SECOND, "other": OTHER}
    return {name: read_model(model_folder(place / name, one)).summary for name, one in limbs.items()}


@pytest.fixture(scope="module")
def compared(models):
    return Compared(compare(FIRST, SECOND, turn=0.0), models["first"], models["second"])


@pytest.fixture(scope="module")
def sides(models):
    return Compared(compare(FIRST, OTHER, mirrored=True, turn=0.0), models["first"], models["other"])


@pytest.fixture(scope="module")
def folder(compared, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "change"
    write_change(out, compared)
    return out


def rows(path):
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def glb_colours(path):
    """Vertex colours (N, 3) of a binary glTF 2.0 file with one mesh, by its specification."""
    data = path.read_bytes()
    length = struct.unpack("<I", data[12:16])[0]
    content = json.loads(data[20 : 20 + length])
    (primitive,) = content["meshes"][0]["primitives"]
    assert content["materials"][primitive["material"]]["pbrMetallicRoughness"]["metallicFactor"] == 0.0
    entry = content["accessors"][primitive["attributes"]["COLOR_0"]]
    assert (entry["componentType"], entry["type"], entry["normalized"]) == (5121, "VEC4", True)
    start = 28 + length + content["bufferViews"][entry["bufferView"]].get("byteOffset", 0)
    return np.frombuffer(data, np.uint8, 4 * entry["count"], start).reshape(-1, 4)[:, :3]


def test_all_files_are_written_and_change_json_reads_back(folder, compared):
    names = {item.name for item in folder.iterdir()}
    assert names == {*CHANGE_FILES, "overlay-camera-1.png", "overlay-camera-2.png"}
    assert all(map(is_change_file, names))
    summary = ChangeForm.model_validate_json((folder / "change.json").read_bytes())
    assert summary == change_form(compared, summary.created)
    assert json.loads((folder / "change.json").read_text())["format"] == "limb-change/1"
    assert summary.caution == caution("leg")
    assert "not a diagnosis" in (folder / "caution.txt").read_text()


def test_figures_are_those_of_the_comparison(compared):
    summary, change = change_form(compared), compared.change
    # json is rounded to a thousandth
    assert_allclose(summary.whole.change_ml, change.whole.change_ml.mean, atol=5e-4)
    assert_allclose(summary.whole.change_ml_95, change.whole.change_ml.interval_95, atol=5e-4)
    assert_allclose(summary.whole.second_ml - summary.whole.first_ml, summary.whole.change_ml, atol=2e-3)
    assert sum(part.change_ml for part in summary.parts) == pytest.approx(summary.whole.change_ml, abs=0.05)
    assert summary.whole.verdict == "smaller"
    assert summary.first.limb_sha256 == compared.first.limb_sha256
    assert summary.excess is None


def test_area_change_is_that_of_the_sections_and_its_interval_is_that_of_thin_slabs(compared):
    change = compared.change
    z = np.array([150.0, 300.0, 450.0])
    found = area_change(change, z)
    assert_allclose(found.mean, area(change.second, z).mean - area(change.first, z).mean)
    # the sd against draws from the joint belief
    rng = np.random.default_rng(5)
    n = change.first.basis.size
    draws = rng.multivariate_normal(change.joint.mean, change.joint.covariance, 1000, method="eigh")
    exact = replace(change.first, covariance=np.zeros((n, n)))
    differences = [
        area(replace(exact, mean=d[n:]), z).mean - area(replace(exact, mean=d[:n]), z).mean for d in draws
    ]
    # 1000 draws know an sd to 2.2 %: three of these
    assert_allclose(np.std(differences, axis=0), found.sd, rtol=0.07)


def test_tables_hold_levels_and_chart(folder, compared):
    summary, change = change_form(compared), compared.change
    levels = rows(folder / "change.csv")
    assert [float(row["height_mm"]) for row in levels] == [level.height_mm for level in summary.levels]
    assert min(levels, key=lambda row: float(row["area_change_mm2"]))["height_mm"] == "300.0"
    chart = rows(folder / "chart.csv")
    assert len(chart) == change.chart.change_mm.mean.size
    most = min(chart, key=lambda row: float(row["change_mm"]))
    assert (most["direction"], most["clear"]) == ("back", "yes")
    assert abs(float(most["height_mm"]) - 300) <= 5
    for row in chart[::97]:
        low, high = float(row["change_low_mm"]), float(row["change_high_mm"])
        assert low <= float(row["change_mm"]) <= high
        if row["clear"] == "yes":
            assert low > -0.006 or high < 0.006  # rounded to 0.01 mm


def test_meshes_are_grey_where_nothing_is_clear_and_blue_where_smaller(folder, compared):
    mesh = limb_mesh(compared.change.second)
    colours = vertex_colours(compared.change, mesh)
    grey = np.all(np.isclose(colours, to_rgb(style.NO_CLEAR_CHANGE)), axis=1)
    back = (mesh.vertices[:, 1] < -40) & (np.abs(mesh.vertices[:, 2] - 300) < 10)
    assert not grey[back].any()
    assert np.all(colours[back][:, 2] > colours[back][:, 0])
    front = mesh.vertices[:, 1] > 20
    assert grey[front].mean() > 0.9
    ply = trimesh.load(folder / "mesh-change.ply", process=False)
    assert_allclose(ply.visual.vertex_colors[:, :3] / 255, colours, atol=0.5 / 255 + 1e-9)
    linear = glb_colours(folder / "mesh-change.glb") / 255
    # the inverse of the sRGB curve (IEC 61966-2-1): 8 bits in linear light are coarse where it is dark
    srgb = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    assert_allclose(srgb, colours, atol=0.03)
    glb = trimesh.load(folder / "mesh-change.glb", process=False, force="mesh")
    assert_allclose(1000 * glb.bounds[1][1], mesh.vertices[:, 2].max(), atol=0.01)
    assert ply.is_watertight


def test_the_legend_is_in_the_json_and_pictures_open(folder, compared):
    colours = change_form(compared).colours
    assert colours.reach_mm >= 2
    assert (colours.smallest, colours.no_clear_change) == ("#0b3c6f", "#c4c4c0")
    for name in ("change-views.png", "change-sections.png", "change-map.png", "overlay-camera-2.png"):
        with Image.open(folder / name) as picture:
            assert min(picture.size) > 300
    assert len(section_heights(compared.change)) == len(compared.change.parts)


def test_overlays_are_named_in_json_and_text(compared):
    summary = change_form(compared)
    assert [(o.file, o.model, o.photo) for o in summary.overlays] == [
        ("overlay-camera-1.png", "first", "photo-1.jpg"),
        ("overlay-camera-2.png", "first", "photo-2.jpg"),
    ]
    assert summary.warnings == ()
    assert "overlay-camera-1.png, overlay-camera-2.png: " in change_text(summary, "x")


def test_models_without_cameras_are_compared_without_overlays(compared, models, tmp_path):
    photos = tuple(photo.model_copy(update={"camera": None}) for photo in models["first"].photos)
    old = [models[name].model_copy(update={"photos": photos}) for name in ("first", "second")]
    summary = write_change(tmp_path / "c", Compared(compared.change, *old))
    assert {item.name for item in (tmp_path / "c").iterdir()} == CHANGE_FILES
    assert summary.overlays == ()
    (warning,) = summary.warnings
    text = change_text(summary, "x")
    assert warning.text in " ".join(text.split())
    assert "overlay" not in text


@pytest.mark.parametrize(
    "name",
    ["overlay-camera-0.png", "overlay-camera-1.jpg", "my-overlay-camera-1.png", "overlay-camera-1.png.bak"],
)
def test_other_names_are_not_ours(name):
    assert not is_change_file(name)


def test_words_tell_loss_place_and_girth(compared):
    summary = change_form(compared)
    words = " ".join(summary.sentences)
    assert "the left leg lost" in words
    assert "back" in summary.sentences[-2]
    assert "solved together" in summary.sentences[-1]
    text = change_text(summary, "somewhere")
    assert "somewhere" in text
    assert all(line in " ".join(text.split()) for line in caution("leg"))


def test_a_limb_that_did_not_change_shows_no_clear_change(models):
    same = Compared(compare(FIRST, FIRST, turn=0.0), models["first"], models["first"])
    summary = change_form(same)
    assert {summary.whole.verdict, *(part.verdict for part in summary.parts)} == {"no clear change"}
    assert "no clear change" in summary.sentences[0]
    assert "No girth has clearly changed." in summary.sentences
    colours = vertex_colours(same.change, limb_mesh(same.change.second))
    assert np.all(np.isclose(colours, to_rgb(style.NO_CLEAR_CHANGE)))


def test_mirrored_excess_is_of_the_first_limb_with_named_formulas(sides):
    summary = change_form(sides)
    excess = summary.excess
    assert (excess.affected, excess.reference) == ("left leg", "right leg")
    assert excess.excess_ml.value == pytest.approx(-summary.whole.change_ml, abs=1e-3)
    assert excess.excess_ml.value > 0
    first, second = summary.whole.first_ml, summary.whole.second_ml
    assert excess.percent.value == pytest.approx(100 * (first - second) / second, abs=2e-3)
    assert "V_reference" in excess.percent.formula
    assert summary.whole.percent is None
    assert "the left leg is larger than the right leg" in summary.sentences[0]


def test_both_limbs_swollen_hides_every_percentage(sides):
    summary = change_form(replace(sides, bilateral=True))
    assert summary.excess.percent is None
    assert "percentages of excess are not shown" in summary.excess.note
    assert "%" not in " ".join(summary.sentences).replace("95 % interval", "")


@pytest.mark.parametrize(
    ("turn", "sd", "covers", "code"),
    [
        (20.0, 3.0, (100.0, 500.0), "turned"),
        (0.0, 30.0, (100.0, 500.0), "turn-unsure"),
        (0.0, 3.0, (100.0, 480.0), "heights"),
        (0.0, 3.0, (100.0, 500.0), None),
    ],
)
def test_warnings(compared, turn, sd, covers, code):
    covariance = np.zeros((5, 5))
    covariance[0, 0] = np.radians(sd) ** 2
    alignment = replace(compared.change.alignment, turn=np.radians(turn), covariance=covariance)
    found = change_warnings(replace(compared.change, alignment=alignment), ((100.0, 500.0), covers))
    assert [warning.code for warning in found] == ([code] if code else [])


def test_an_earlier_comparison_is_replaced_and_others_files_stay(compared, tmp_path):
    out = tmp_path / "change"
    out.mkdir()
    (out / "change.json").write_text("{}")
    (out / "overlay-camera-7.png").write_text("of photographs that are no more")
    write_change(out, compared)
    assert not (out / "overlay-camera-7.png").exists()
    (out / "model.json").write_text("mine")
    with pytest.raises(OutputError, match=r"model\.json"):
        write_change(out, compared)
    assert (out / "model.json").read_text() == "mine"
