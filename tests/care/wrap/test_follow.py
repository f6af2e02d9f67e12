"""A wrap in the order and words of hands, and the card to take home."""

import re
import subprocess
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from solid_limbs import limb

from digitise.care.surface.landmarks import Landmark, Landmarks
from digitise.care.wrap.follow import wrap_steps
from digitise.care.wrap.plan import Layer, Plan, plan_from_toml, plan_to_toml
from digitise.care.wrap.sheet import wrap_sheet
from digitise.care.wrap.warnings import wrap_warnings
from digitise.errors import PlanError
from digitise.output.wrap.home_card import home_card

MARKS = Landmarks(
    *(Landmark(at, (at, at), False) if at else None for at in (150.0, 0.0, 320.0, 0.0)),
)
LAYERS = (
    Layer(name="padding", width_mm=100, from_mm=150, to_mm=400, stretch=0, tension_n=0, kind="padding"),
    Layer(name="", width_mm=80, from_mm=120, to_mm=330, overlap=2 / 3, stretch=0.6),
)


def cylinder():
    return limb(lambda theta, z: 50.0 + 0 * theta + 0 * z)


def test_steps_are_told_from_landmarks():
    sheet = wrap_sheet(cylinder(), Plan(layers=LAYERS))
    first, second = wrap_steps(sheet.needs, "leg", MARKS)
    assert (first.begins, first.ends) == ("at the ankle", "8 cm above the widest calf")
    assert (second.begins, second.ends) == ("3 cm below the ankle", "1 cm above the widest calf")
    assert (first.extension, second.extension) == ("none", "full")
    assert (first.overlap, second.overlap) == ("half", "two thirds")
    # 250 mm in steps of 50 mm; 210 mm in steps of 80 / 3 mm
    assert (first.turns, second.turns) == (5, 8)


def test_padding_and_bandage_have_rolls_of_their_own_length():
    sheet = wrap_sheet(cylinder(), Plan(layers=LAYERS, roll_length_mm=50000, padding_roll_length_mm=1000))
    padding, bandage = sheet.needs
    assert padding.rolls == np.ceil(padding.rest_mm / 1000)
    assert bandage.rolls == 1


def codes(plan, **known):
    z = np.arange(100.0, 501.0, 5.0)
    given = {"girth": np.full(len(z), 314.0), "relative": np.ones(len(z)), **known}
    found = wrap_warnings(
        plan, z, given["girth"], np.full(len(z), 2.0), given["relative"],
        given.get("pressure", np.full(len(z), 30.0)),
        crease=None, clear=50.0, heel_below=160.0, kind="leg", narrow=given.get("narrow"),
        on_end=given.get("on_end", [False] * len(plan.layers)),
    )  # fmt: skip
    return [one.code for one in found]


def test_what_is_bare_below_is_warned_of():
    plan = Plan(layers=LAYERS)
    assert "bare-below" in codes(plan)
    assert "bare-below" not in codes(plan.model_copy(update={"end_wrapped": True}))
    # a bandage that begins on the foot leaves nothing bare, padding alone does; 0 mm need not be the toes
    assert "bare-below" not in codes(plan, on_end=[True, True])
    assert "bare-below" in codes(plan, on_end=[True, False])
    low = [each.model_copy(update={"from_mm": 0.0}) for each in LAYERS]
    assert "bare-below" in codes(Plan(layers=tuple(low)))
    again = plan_from_toml(plan_to_toml(plan.model_copy(update={"end_wrapped": True})).encode())
    assert again.end_wrapped is True


def test_very_strong_pressure_is_doubted():
    plan, z = Plan(layers=LAYERS), np.arange(100.0, 501.0, 5.0)
    assert "very-strong" not in codes(plan, pressure=np.full(len(z), 59.0))
    # 60 N typed for 6 N
    assert "very-strong" in codes(plan, pressure=np.where(z < 200, 300.0, 30.0))


def test_a_herringbone_lays_its_longer_bandage_over_the_same_skin():
    """Area of bandage over area of skin: 1.5 times the length of a spiral makes 1.5 times the layers."""
    spiral = Layer(width_mm=100, from_mm=150, to_mm=400, overlap=0.5)
    crossed = spiral.model_copy(update={"style": "herringbone", "factor": 1.5})
    needs = [wrap_sheet(cylinder(), Plan(layers=(one,))).needs[0] for one in (spiral, crossed)]
    for need in needs:
        # girths are taken half way through the layers on 50 mm of radius; one anchor turn at each end
        girth = 2 * np.pi * (50.0 + need.layer.thickness_mm * need.layer.layers / 2)
        laid = (need.stretched_mm - 2 * girth) * need.layer.width_mm / (250.0 * girth)
        # a turn's slant makes it longer than the girth by half the square of 50 / 314
        assert laid == pytest.approx(need.layer.layers, rel=0.5 * (50 / 314) ** 2 + 1e-3)


def test_pressure_that_rises_counts_from_the_ankle_and_over_some_length():
    z = np.arange(100.0, 501.0, 5.0)
    plan = Plan(layers=LAYERS)
    # at the heel pressure is low because the girth is large
    heel = np.where(z < 150, 0.7, 1.0)
    assert "pressure-rises" in codes(plan, relative=heel)
    assert "pressure-rises" not in codes(plan, relative=heel, narrow=150.0)
    # 20 % more over 30 mm is one turn's; over 60 mm it is not
    for length, warned in ((30.0, False), (60.0, True)):
        bump = np.where((z >= 300) & (z <= 300 + length), 1.2, 1.0)
        assert ("pressure-rises" in codes(plan, relative=bump, narrow=150.0)) == warned


def test_the_home_card_is_one_page_with_room_to_write(tmp_path):
    steps = wrap_steps(wrap_sheet(cylinder(), Plan(layers=LAYERS)).needs, "leg", MARKS)
    (tmp_path / "card.pdf").write_bytes(home_card(steps, "leg"))
    words = subprocess.run(
        ["pdftotext", "-layout", "card.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    assert words.count("\f") == 1
    flat = " ".join(words.split())
    for part in ("Take the wrap off at once", "toes turn blue, white or cold", "Whom to call:", "emergency"):
        assert part in flat
    assert "mmHg" not in flat
    with pytest.raises(PlanError, match="a4 or letter"):
        home_card(steps, "leg", paper="a3")
    with pytest.raises(PlanError, match="no layer"):
        home_card((), "leg")


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("size", [(1800, 860), (1800, 1720), (300, 2000)])
def test_a_picture_of_the_layers_leaves_the_card_one_page(paper, size, tmp_path):
    steps = wrap_steps(wrap_sheet(cylinder(), Plan(layers=LAYERS)).needs, "leg", MARKS)
    stream = BytesIO()
    Image.new("RGB", size, "grey").save(stream, "PNG")
    (tmp_path / "card.pdf").write_bytes(home_card(steps, "leg", paper=paper, picture=stream.getvalue()))
    words = subprocess.run(
        ["pdftotext", "-layout", "card.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    assert words.count("\f") == 1
    assert "Next visit:" in words
    boxes = subprocess.run(
        ["pdftotext", "-bbox", "card.pdf", "-"], cwd=tmp_path, check=True, capture_output=True, text=True
    ).stdout
    # the last line ends on the page: 297 mm are 842 points, 279 mm are 792
    ends = [float(found) for found in re.findall(r'yMax="([0-9.]+)"', boxes)]
    assert max(ends) < (842 if paper == "a4" else 792) - 20


def test_steps_without_landmarks_count_from_below():
    none = replace(MARKS, narrow=None, wide=None)
    (step, _) = wrap_steps(wrap_sheet(cylinder(), Plan(layers=LAYERS)).needs, "arm", none)
    assert (step.begins, step.ends) == ("15 cm up", "40 cm up")
