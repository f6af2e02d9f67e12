"""A wrap from the knuckles: what is written, said and drawn."""

import json
from dataclasses import replace

import numpy as np
import pytest
from end_models import with_hand

from digitise.care.wrap.sheet import wrap_sheet
from digitise.output.figures.wrap import wrap_layers
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model_file
from digitise.output.wrap.words import wrap_text
from digitise.workflow.care import end_way_of, wrap_model


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    folder = tmp_path_factory.mktemp("model")
    write_model_file(folder, with_hand())
    return read_model(folder)


def test_the_wrap_of_an_arm_begins_on_its_measured_hand(model, tmp_path):
    made = wrap_model(model, tmp_path / "w", None, None)
    content = json.loads((tmp_path / "w/wrap.json").read_text())
    assert content["needs"][0]["from_knuckles"]
    assert not content["needs"][0]["from_toes"]
    assert "(knuckles to 20 cm)" in wrap_text(made, tmp_path / "w")
    assert any("thumb left free" in note for note in made.notes)
    assert (tmp_path / "w/layers.png").read_bytes().startswith(b"\x89PNG")


def test_a_taped_hand_counts_where_none_was_photographed(model):
    way = end_way_of(model)
    assert (way.part, way.measured) == ("hand", True)
    near = replace(model.limb, from_mm=20.0)
    assert end_way_of(replace(model, end=None, limb=replace(near, lying=""))) is None


def test_every_other_turn_on_the_hand_is_drawn(model):
    sheet = wrap_sheet(model.limb, None, end_way_of(model))
    figure = wrap_layers(model.limb, model.end, sheet)
    first = np.asarray(figure.axes[0].images[0].get_array())
    alone = wrap_layers(model.limb, None, wrap_sheet(model.limb))
    height = first.shape[0] / np.asarray(alone.axes[0].images[0].get_array()).shape[0]
    # with the hand the picture is about three times as long as the 90 mm of arm alone
    assert height > 2.0
