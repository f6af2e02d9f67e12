"""The page of a visit with an arm that lies: what it asks for, and what it says then."""

from datetime import UTC, datetime
from types import SimpleNamespace

import pytest
from lying_accuracy import measured_sample
from lying_drawn import like_its_sheet, round_it
from ui_support import ROOT, page, words

from digitise.capture.outline.correction import correction_to_json
from digitise.capture.sheets.field import field_from_json
from digitise.output.model.files import model_text
from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.samples import sample_visits
from digitise.tape.table import read_tape
from ui import draft as drafts
from ui import text
from ui.components import landmark, saving
from ui.inputs import Inputs

ARM = ROOT / "sample-images/arm-week0"
ROWS = (("2", "17.4"), ("14", "28.6"), ("28", "30.3"), ("32", "32.2"), ("35", "32.5"))


@pytest.mark.slow
def test_an_arm_waits_for_its_landmark_and_is_measured_from_there(home):
    draft = drafts.draft_of("arm-on-a-table------")
    for path in sorted(ARM.glob("photo-*.jpg")):
        draft.add_photo(path.read_bytes(), path.name)
    draft.write_field((ARM / "field.json").read_text())
    inputs = Inputs(client="K-017", limb="arm", side="left", sheets="own", rows=ROWS, lies="palm-down")
    draft.write(inputs)
    waiting = page("visit", draft_token=draft.folder.name)
    assert text.WAITS_LANDMARK in words(waiting)
    assert text.LANDMARK in [head.value for head in waiting.subheader]
    draft.write(inputs.model_copy(update={"landmark": (1, 887.6, 797.6)}))
    measured = page("visit", draft_token=draft.folder.name)
    assert not measured.error
    assert "rest on supports" in words(measured)
    # the truth is 2230 mL from 20 to 360 mm and about 90 mL more at either end
    assert "mL" in measured.metric[0].value


@pytest.mark.parametrize(
    ("limb", "mats_alone", "tapped_in"),
    [("arm", {2}, [0, 1, 3]), ("arm", set(), [0, 1, 2, 3]), ("arm", {0, 1, 2, 3}, [0, 1, 2, 3]),
     ("leg", {2}, [0, 1, 2, 3])],
)  # fmt: skip
def test_the_landmark_is_tapped_where_the_arm_is_seen(home, limb, mats_alone, tapped_in):
    draft = drafts.draft_of("where-it-is-tapped--")
    draft.write_field((ARM / "field.json").read_text())
    boards = field_from_json(draft.field_json, "").boards
    on_mats = {marker for board in boards if board.role == "mat" for marker in board.ids}
    every = {marker for board in boards for marker in board.ids}
    for number in range(4):
        data = (ARM / "photo-1.jpg").read_bytes()
        draft.add_photo(data, f"photo-{number + 1}.jpg")
    seen = [
        SimpleNamespace(
            detections=[SimpleNamespace(id=one) for one in (on_mats if n in mats_alone else every)]
        )
        for n in range(4)
    ]
    lies = "palm-down" if limb == "arm" else "on-back"
    inputs = Inputs(limb=limb, side="left", sheets="own", lies=lies)
    assert landmark.offered(draft, inputs, SimpleNamespace(seen=seen)) == tapped_in


@pytest.mark.slow
def test_the_hand_among_the_arms_photographs_is_measured_too(home):
    visit = sample_visits("arm")[0]
    draft = drafts.draft_of("arm-with-its-hand---")
    for path in (*visit.photos, *visit.hands):
        draft.add_photo(path.read_bytes(), path.name)
    draft.write_field((ARM / "field.json").read_text())
    inputs = Inputs(client="K-017", limb="arm", side="left", sheets="own", rows=ROWS, lies="palm-down")
    taped = {"landmark": (visit.lying.photo, *visit.lying.at), "places": (("palm", 242.0, 7, None),)}
    draft.write(inputs.model_copy(update=taped))
    measured = page("visit", draft_token=draft.folder.name)
    assert not measured.error
    choice = next(one for one in measured.segmented_control if one.label == text.LANDMARK_PHOTO)
    assert len(choice.options) == len(visit.photos)  # those of its hand are refused
    figures = {metric.label: metric.value for metric in measured.metric}
    # 574 to 599 mL are true, as the arm begins 10 mm beyond the wrist or at it; the method's bar is 6 %
    own = float(figures[text.END["hand"]].split("±")[0].replace(" ", "").replace("\N{NO-BREAK SPACE}", ""))
    assert 0.94 * 574 < own < 1.06 * 599
    assert text.TOGETHER["hand"] in figures


@pytest.mark.slow
def test_an_arm_that_is_not_found_is_drawn_and_measured(home, tmp_path):
    """Nothing tells it from its sheet: the editor opens on the whole photograph, lines round it suffice."""
    visit = sample_visits("arm")[0]
    found = measured_sample(visit)
    draft = drafts.draft_of("arm-drawn-by-hand---")
    for path in like_its_sheet(visit, found, tmp_path).photos:
        draft.add_photo(path.read_bytes(), path.name)
    draft.write_field((ARM / "field.json").read_text())
    inputs = Inputs(client="K-017", limb="arm", side="left", sheets="own", rows=ROWS, lies="palm-down")
    draft.write(inputs.model_copy(update={"landmark": (visit.lying.photo, *visit.lying.at)}))
    asks = page("visit", draft_token=draft.folder.name)
    assert text.DRAW_TITLE.format(1) in [head.value for head in asks.subheader]
    for number, path in enumerate(draft.photos):
        draft.write_correction(path, correction_to_json(round_it(found, number)))
    measured = page("visit", draft_token=draft.folder.name)
    assert not measured.error
    assert "mL" in measured.metric[0].value


@pytest.mark.parametrize(("limb", "lies", "lying"), [("arm", "on-back", ""), ("leg", "on-back", "on-back")])
def test_a_posture_of_another_limb_does_not_count(limb, lies, lying):
    assert Inputs(limb=limb, lies=lies).lying == lying


@pytest.mark.slow
def test_a_saved_arm_is_opened_again_as_it_lay(home):
    visit = sample_visits("arm")[0]
    model = model_text(measured_sample(visit))
    with Store() as store:
        number = store.add_visit(
            NewVisit(
                "K-017",
                "arm",
                "left",
                datetime(2026, 3, 2, 9, 15, tzinfo=UTC),
                read_tape(visit.tape),
                photos=visit.photos,
                field_json=visit.field.read_text(),
                model=ModelFiles(model.json, model.limb),
            )
        )
    inputs = saving.reopened(number).read()
    assert inputs.lies == "palm-down"
    assert inputs.landmark == (visit.lying.photo, *visit.lying.at)
    assert inputs.axis == (None,) * 6
