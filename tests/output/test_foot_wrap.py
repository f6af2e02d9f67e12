"""A wrap from the toes: what is written, said and drawn."""

import json
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import pytest
from model_folders import model_folder
from PIL import Image
from standing_feet import HIGH, leg_with_foot

from digitise.care.wrap.plan import Layer, Plan
from digitise.care.wrap.sheet import wrap_sheet
from digitise.output.figures.style import styled
from digitise.output.figures.wrap import layers_height_mm, wrap_layers
from digitise.output.model.file import read_model
from digitise.output.model.place_girths import place_girths
from digitise.output.report.parts import wrap_form as report_form
from digitise.output.wrap.files import write_wrap
from digitise.output.wrap.form import ON_END, TAPED
from digitise.output.wrap.words import wrap_text
from digitise.tape.rows import PlaceGirth
from digitise.workflow.care import end_way_of, wrap_model

GIRTHS = (PlaceGirth("ball-of-foot", 262.0), PlaceGirth("heel-instep", 364.0))
ON = Layer(name="first", width_mm=80, from_mm=0, to_mm=300)
ABOVE = Layer(name="second", width_mm=100, from_mm=110, to_mm=HIGH)
BOTH = Plan(layers=(ON, ABOVE), least_layers=0)


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    """A leg with its foot measured."""
    leg, foot = leg_with_foot()
    folder = model_folder(tmp_path_factory.mktemp("models") / "m", leg)
    return replace(read_model(folder), end=foot)


@pytest.fixture(scope="module")
def taped(model):
    """The same, its foot taped and not photographed."""
    rows = tuple(place_girths(GIRTHS, ()))
    return replace(model, end=None, summary=model.summary.model_copy(update={"place_girths": rows}))


def test_the_measured_foot_counts_before_the_taped_one(model, taped):
    assert end_way_of(model).measured
    assert not end_way_of(taped).measured
    assert end_way_of(replace(model, end=None)) is None
    lying = replace(taped, limb=replace(taped.limb, lying="on-back"))
    assert end_way_of(lying) is None


@pytest.mark.parametrize(
    ("which", "notes"), [("model", (ON_END["foot"],)), ("taped", (ON_END["foot"], TAPED["foot"]))]
)
def test_a_wrap_from_the_toes_is_written_and_said(which, notes, tmp_path, request):
    model = request.getfixturevalue(which)
    made = wrap_model(model, tmp_path / "w", BOTH, None)
    content = json.loads((tmp_path / "w/wrap.json").read_text())
    assert content["foot"] == ("measured" if which == "model" else "taped")
    assert [need["from_toes"] for need in content["needs"]] == [True, False]
    assert made.notes[: len(notes)] == notes
    text = " ".join(wrap_text(made, "w").split())
    assert "1. first, 8 cm wide: begin behind the toes, close the heel, end" in text
    assert "(toes to 30 cm)" in text
    assert (tmp_path / "w/layers.png").read_bytes().startswith(b"\x89PNG")
    # the plan is read back as it was
    assert Plan.model_validate(content["plan"]) == BOTH


def test_a_wrap_above_the_foot_says_nothing_of_it(model, tmp_path):
    made = write_wrap(
        tmp_path / "w",
        model,
        wrap_sheet(model.limb, Plan(layers=(ABOVE,)), end_way_of(model)),
        suggested=False,
    )
    assert ON_END["foot"] not in made.notes
    assert "bare-below" in {warning.code for warning in made.warnings}


def test_the_report_states_it(model):
    sheet = wrap_sheet(model.limb, BOTH, end_way_of(model))
    words = report_form(sheet)
    assert [layer.from_toes for layer in words.layers] == [True, False]
    assert words.end_notes == (ON_END["foot"],)
    assert words.rolls == tuple((need.layer.width_mm, need.rolls) for need in sheet.needs)


def _panels(model, plan):
    with styled():
        figure = wrap_layers(model.limb, model.end, wrap_sheet(model.limb, plan, end_way_of(model)))
    return figure.axes


def _grey(panel, at_mm, up_mm):
    """The brightness of a panel's picture at a place, mm, and how opaque it is there."""
    left, right, bottom, top = panel.images[0].get_extent()
    pixels = np.asarray(panel.images[0].get_array())
    column = int((at_mm - left) / (right - left) * pixels.shape[1])
    row = int((top - up_mm) / (top - bottom) * pixels.shape[0])
    return pixels[row, column]


def test_the_picture_shows_foot_and_toes_and_every_turn(model):
    first, second = _panels(model, BOTH)
    for panel in (first, second):
        assert panel.images[0].get_extent()[2] == pytest.approx(0.0, abs=3.0)
    assert first.get_title().startswith("1  first\nfrom the toes, ")
    # the side seen is the outer one, of a left leg -x: what is ahead stands on the left, toes bare
    front = float((model.end.vertices @ model.end.belief.surface.ahead).max())
    toes, *_ = _grey(first, -front + 12, 8), None
    instep = _grey(first, -front + 90, 20)
    assert toes[3] == instep[3] == 1.0
    # skin is redder than it is blue, bandage is grey
    assert toes[0] - toes[2] > 0.08 > abs(instep[0] - instep[2])
    # up the middle of the leg from the joint to where it ends: a turn every 40 mm, light and dark in turn
    middle = np.array([_grey(first, 0.0, up)[:3].mean() for up in np.arange(125.0, 295.0, 2.0)])
    changes = np.count_nonzero(np.abs(np.diff((middle > middle.mean()).astype(int))))
    assert changes == pytest.approx((295 - 125) / 40, abs=1)


def test_many_layers_stand_in_rows(model):
    plan = Plan(layers=(ON,) * 7, least_layers=0)
    panels = _panels(model, plan)
    assert len([panel for panel in panels if panel.get_visible()]) == 7
    assert layers_height_mm(7) == 2 * layers_height_mm(6)


@pytest.mark.skipif(shutil.which("pdfimages") is None, reason="poppler-utils is not installed")
def test_the_home_card_shows_the_layers_on_the_limb(model, tmp_path):
    wrap_model(model, tmp_path / "w", BOTH, None)
    words = ["pdfimages", "-list", str(tmp_path / "w/home-card.pdf")]
    listed = subprocess.run(words, capture_output=True, text=True, check=True).stdout.splitlines()[2:]
    with Image.open(tmp_path / "w/layers.png") as layers:
        assert [line.split()[3:5] for line in listed if line.split()[2] == "image"] == [
            [str(layers.width), str(layers.height)]
        ]
