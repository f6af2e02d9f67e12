"""The page of a visit with both feet on the mat: three photographs, two legs (`tests/data/two-legs`)."""

import pytest
from ui_support import ROOT, page, words

from digitise.tape.table import read_tape
from ui import draft as drafts
from ui import text
from ui.components import saving
from ui.inputs import Inputs

HOME = ROOT / "tests/data/two-legs/both-brown"
ANSWERED = {"clearance": "yes", "flags": (), "same_visit": True, "sheets": "own"}


def rows(side):
    return tuple(
        (f"{row.height_mm / 10:g}", f"{row.girth_mm / 10:g}") for row in read_tape(HOME / f"tape-{side}.csv")
    )


def begun(**more):
    draft = drafts.draft_of("both-feet-on-the-mat")
    for path in sorted(HOME.glob("photo-*.jpg")):
        draft.add_photo(path.read_bytes(), path.name)
    draft.write_field((HOME / "field.json").read_text())
    inputs = Inputs(client="K-017", limb="leg", side="left", lies="both-feet", rows=rows("left"), **ANSWERED)
    draft.write(inputs.model_copy(update=more))
    return draft


def button(test, label):
    (found,) = [one for one in test.button if one.label == label]
    return found


@pytest.mark.slow
def test_both_legs_are_measured_and_saved_from_the_same_photographs(home):
    first = page("visit", draft_token=begun().folder.name)
    assert not first.error
    assert "mL" in first.metric[0].value
    button(first, text.SAVE).click().run()
    assert not first.exception
    button(first, text.OTHER_LEG).click().run()
    assert not first.exception
    (other,) = [draft for draft in drafts.all_drafts() if draft.folder.name != "both-feet-on-the-mat"]
    typed = other.read()
    assert (typed.side, typed.lies, len(other.photos)) == ("right", "both-feet", 3)
    other.write(typed.model_copy(update={"rows": rows("right")}))
    second = page("visit", draft_token=other.folder.name)
    assert not second.error
    assert "mL" in second.metric[0].value
    button(second, text.SAVE).click().run()
    # the left leg is the swollen one, by a fifth
    assert "left leg holds" in words(second)
    assert all(saving.reopened(number).read().lies == "both-feet" for number in (1, 2))


@pytest.mark.slow
def test_two_feet_that_are_not_there_are_asked_for(home):
    draft = begun()
    sample = ROOT / "sample-images/pair-calf-week0"
    for photo in draft.photos:
        draft.remove_photo(photo)
    for path in sorted(sample.glob("photo-[12].jpg")):
        draft.add_photo(path.read_bytes(), path.name)
    draft.write_field((sample / "field.json").read_text())
    said = page("visit", draft_token=draft.folder.name)
    assert "where two should stand" in words(said) + "".join(error.value for error in said.error)


@pytest.mark.parametrize(("limb", "both"), [("leg", True), ("arm", False), (None, False)])
def test_only_a_leg_stands_with_both_feet(limb, both):
    inputs = Inputs(limb=limb, lies="both-feet")
    assert (inputs.both_feet, inputs.lying) == (both, "")


def test_the_other_leg_keeps_the_photographs_but_not_what_was_drawn_on_them(home):
    draft = begun()
    draft.write_correction(draft.photos[0], "{}")
    other = saving.other_limb(draft, draft.read())
    assert len(other.photos) == 3
    assert other.corrections() == {}
    assert other.read().same_visit
    pairs = zip(draft.photos, other.photos, strict=True)
    assert all(first.read_bytes() == second.read_bytes() for first, second in pairs)
