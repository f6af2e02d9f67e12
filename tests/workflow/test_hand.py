"""The hand of the sample arm, photo-real with known truth, from photographs to files."""

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image

from digitise.capture.calibration.markers import find_markers
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import read_field
from digitise.care.change.end import end_change
from digitise.output.change.words import end_sentences
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.model.words import summary_text
from digitise.samples import sample_visits
from digitise.shape.end_figures import end_volume
from digitise.tape.table import read_tape_table
from digitise.workflow.measure import measure_limb
from digitise.workflow.posture.lying import Landmark, Lying
from digitise.workflow.posture.of_hand import of_the_hand

TRUTH = Path(__file__).parents[1] / "data/truth"


def visit(name):
    return next(each for each in sample_visits("arm") if each.name == name)


def truth(name, beyond_mm):
    """The true volume, mL, beyond a plane so far from the wrist towards the fingers."""
    known = json.loads((TRUTH / name / "truth.json").read_text())["hand"]["volumes_beyond_wrist_ml"]
    places = sorted(known, key=float)
    return float(np.interp(beyond_mm, [float(at) for at in places], [known[at] for at in places]))


def measured(name, hands=None, side="left", photos=None, with_tape=True):
    own = visit(name)
    table = read_tape_table(own.tape)
    lying = Lying(own.lying.posture, Landmark(own.lying.photo, own.lying.at))
    return measure_limb(
        own.photos if photos is None else photos,
        read_field(own.field),
        table.rows,
        limb="arm",
        side=side,
        lying=lying,
        places=table.places if with_tape else (),
        hand_paths=own.hands if hands is None else hands,
    )


@pytest.fixture(scope="module")
def weeks(tmp_path_factory):
    folder = tmp_path_factory.mktemp("hands")
    found = {}
    for name in ("arm-week0", "arm-week3"):
        whole = measured(name)
        found[name] = folder / name, write_model(folder / name, whole), whole
    return found


def told(found):
    (finding,) = [each for each in found.findings if each.code == "hand-left-out"]
    return finding


@pytest.mark.slow
@pytest.mark.parametrize("name", ["arm-week0", "arm-week3"])
def test_the_hand_against_the_truth(weeks, name):
    _, summary, _ = weeks[name]
    (hand,) = summary.segments
    true = truth(name, -hand.to_mm)
    # the method's bar, 6 % of the hand; pictures of half the size
    assert abs(hand.volume_ml / true - 1) < 0.06
    assert hand.volume_ml_95[0] < true < hand.volume_ml_95[1]
    known = json.loads((TRUTH / name / "truth.json").read_text())["hand"]
    for own, ends, girth in (
        (hand.palm_girth_mm, hand.palm_girth_mm_95, known["palm_mm"]),
        (hand.wrist_girth_mm, hand.wrist_girth_mm_95, known["wrist_mm"]),
        (hand.length_mm, hand.length_mm_95, known["length_mm"]),
    ):
        assert abs(own - girth) < 10
        # single figures may lie a little outside of 95 %: three standard deviations
        assert abs(own - girth) < 1.5 * (ends[1] - ends[0]) / 2


@pytest.mark.slow
@pytest.mark.parametrize("name", ["arm-week0", "arm-week3"])
def test_one_closed_mesh_holds_arm_and_hand(weeks, name):
    folder, summary, _ = weeks[name]
    body = trimesh.load(folder / "mesh.ply", process=False)
    assert body.is_watertight
    assert np.isclose(body.volume / 1000, summary.volume_ml_whole, rtol=5e-4)
    assert summary.volume_ml + summary.segments[0].volume_ml == pytest.approx(
        summary.volume_ml_whole, abs=0.01
    )


@pytest.mark.slow
def test_the_hand_is_kept_with_its_arm_and_said(weeks):
    folder, summary, whole = weeks["arm-week3"]
    model = read_model(folder)
    assert model.summary == summary
    assert model.end is not None
    assert model.foot is None
    assert np.allclose(model.end.vertices, whole.end.part.vertices)
    assert all((folder / f"outline-{number}.jpg").is_file() for number in range(1, 6))
    text = summary_text(summary, folder)
    assert "arm and hand" in text
    assert "palm" in text


@pytest.mark.slow
def test_the_change_of_the_hand(weeks):
    first, second = (weeks[name][2].end.part for name in ("arm-week0", "arm-week3"))
    change = end_change(first, second)
    below = min(first.top_mm, second.top_mm)
    true = truth("arm-week3", -below) - truth("arm-week0", -below)
    low, high = change.change_ml.interval_95
    assert low < true < high
    assert end_sentences(change)[0].startswith("The hand, beyond")


@pytest.mark.slow
def test_photographs_of_the_hand_are_told_from_the_arms():
    own = visit("arm-week0")
    field = read_field(own.field)
    photos = [read_photo(path) for path in (*own.photos, *own.hands)]
    seen = [find_markers(photo, field) for photo in photos]
    assert of_the_hand(seen, field, "palm-down") == (3, 4)
    assert of_the_hand(seen, field, "on-back") == of_the_hand(seen, field, None) == ()


@pytest.mark.slow
def test_a_photograph_from_above_alone_gives_a_wider_interval(weeks):
    own = visit("arm-week3")
    one = measured("arm-week3", hands=own.hands[:1])
    alone, both = end_volume(one.end.part), end_volume(weeks["arm-week3"][2].end.part)
    true = truth("arm-week3", -one.end.part.top_mm)
    assert alone.interval_95[0] < true < alone.interval_95[1]
    assert alone.sd > both.sd
    # the bar is 6 %, from photographs of full size
    assert abs(alone.mean / true - 1) < 0.08


@pytest.mark.slow
def test_a_low_photograph_alone_gives_none():
    found = measured("arm-week0", hands=visit("arm-week0").hands[1:])
    assert found.end is None
    assert "from above" in told(found).text


@pytest.mark.slow
def test_a_hand_of_another_visit_gives_none():
    """Three weeks apart: 98 mL more."""
    found = measured("arm-week3", hands=visit("arm-week0").hands)
    assert found.end is None
    assert told(found).do


@pytest.mark.slow
def test_the_hand_of_the_other_side_is_told():
    found = measured("arm-week0", side="right")
    assert found.end is None
    assert "other hand, or the palm is up" in told(found).text


@pytest.mark.slow
def test_a_photograph_that_shows_no_mat_gives_none(tmp_path):
    path = tmp_path / "hand-1.jpg"
    Image.new("RGB", (1200, 900), (120, 118, 116)).save(path)
    found = measured("arm-week0", hands=[path])
    assert found.end is None
    assert "No marker" in told(found).text


@pytest.mark.slow
def test_a_photograph_with_a_few_small_marks_does_not_cost_the_arm(tmp_path):
    """A corner of the mat far away: the camera that took it is hardly known."""
    own = visit("arm-week0")
    picture = Image.open(own.hands[0])
    corner = picture.crop((0, 0, picture.width // 2, picture.height // 2))
    page = Image.new("RGB", picture.size, (120, 118, 116))
    page.paste(corner.resize((corner.width // 2, corner.height // 2)), (40, 40))
    path = tmp_path / "hand-1.jpg"
    page.save(path, quality=90)
    found = measured("arm-week0", hands=[path])
    assert found.end is None
    assert told(found).text


@pytest.mark.slow
def test_without_photographs_of_the_hand_nothing_is_said_of_it():
    found = measured("arm-week0", hands=[])
    assert found.end is None
    assert not any("hand-left-out" in each.code for each in found.findings)
