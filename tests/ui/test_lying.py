"""The page of a visit with an arm that lies: what it asks for, and what it says then."""

import pytest
from ui_support import ROOT, page, words

from ui import draft as drafts
from ui import text
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


@pytest.mark.parametrize(("limb", "lies", "lying"), [("arm", "on-back", ""), ("leg", "on-back", "on-back")])
def test_a_posture_of_another_limb_does_not_count(limb, lies, lying):
    assert Inputs(limb=limb, lies=lies).lying == lying
