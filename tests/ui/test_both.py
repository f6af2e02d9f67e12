"""One visit, both limbs: what was asked once is not asked again, and the excess stands there at once."""

from streamlit.testing.v1 import AppTest
from ui_support import ROOT, add_visit, words

from digitise.errors import CourseError
from digitise.record.store import Store
from ui import care, text
from ui import draft as drafts
from ui.components import saving
from ui.inputs import Inputs

GIVEN = Inputs(
    client="K-017",
    limb="leg",
    side="left",
    clearance="yes",
    clearance_by="DR-1",
    flags=(),
    posture="standing",
    measured_by="AB",
    note="of the left one",
    sheets="own",
    rows=(("10", "29.3"), ("23", "30.7")),
    saved=1,
    names={"photo-1.jpg": "IMG_1.jpg"},
    same_visit=True,
)


def begun():
    draft = drafts.draft_of("the-first-limb-of-a-visit")
    draft.write(GIVEN)
    draft.write_field("{}")
    return draft


def visit_page(draft):
    test = AppTest.from_file(str(ROOT / "ui/views/visit.py"), default_timeout=60)
    test.query_params["draft"] = draft.folder.name
    test.run()
    assert not test.exception, test.exception
    return test


def test_the_other_limb_keeps_the_client_the_answers_the_sheets_and_the_heights(home):
    other = saving.other_limb(begun(), GIVEN)
    found = other.read()
    kept = ("client", "limb", "clearance", "clearance_by", "flags", "posture", "measured_by", "sheets")
    assert all(getattr(found, name) == getattr(GIVEN, name) for name in kept)
    assert (found.side, found.rows) == ("right", (("10", ""), ("23", "")))
    assert (found.saved, found.note, found.names, found.same_visit) == (None, "", {}, False)
    taped = GIVEN.model_copy(update={"places": (("ball-of-foot", 241.0, 0, None),)})
    assert saving.other_limb(begun(), taped).read().places == ()  # girths of one foot are not the other's
    assert (other.field_json, other.photos) == ("{}", ())
    assert saving.other_limb(other, found).read().side == "left"


def test_of_everything_typed_it_is_decided_whether_the_other_limb_keeps_it():
    """What belongs to one limb's photographs, such as a tapped place, must not be taken for the other's."""
    kept = {
        *("client", "limb", "lies", "clearance", "clearance_by", "flags", "posture", "measured_by", "unit"),
        *("sheets", "print_scale", "day", "hour"),
    }
    changed = {"side", "rows", *saving._OF_ONE_LIMB}
    assert kept | changed == set(Inputs.model_fields)
    assert not kept & changed


def test_after_saving_one_click_leads_to_the_other_limb(home, models):
    add_visit(models[0])
    test = visit_page(begun())
    (button,) = [one for one in test.button if one.label == text.OTHER_LIMB]
    button.click().run()
    assert not test.exception
    values = {one.label: one.value for one in test.text_input}
    assert values[text.CLIENT_CODE] == "K-017"
    chosen = {one.label: one.value for one in test.segmented_control}
    assert (chosen[text.LIMB], chosen[text.SIDE]) == ("leg", "right")
    assert text.WAITS_PHOTOS in words(test)


def test_a_saved_visit_says_whose_it_is(home, models):
    add_visit(models[0])
    test = visit_page(begun())
    (heading, *_) = (one.value for one in test.subheader)
    assert heading.startswith("K-017 · Left leg · ")
    assert heading.endswith("visit 1")


def test_the_second_limb_stands_beside_the_first_with_the_excess(home, models, other_side):
    add_visit(models[0])
    add_visit(other_side)
    test = visit_page(begun())
    said = words(test)
    assert text.BOTH in [one.value for one in test.subheader]
    assert "The left leg holds" in said
    assert "than the right leg" in said
    assert "Left leg  \n**" in said
    assert "Right leg  \n**" in said
    (toggle,) = [one for one in test.toggle if one.label == text.BILATERAL]
    assert "mL or " in said
    toggle.set_value(True).run()
    assert "mL or " not in words(test)
    # the saved visit tells the same
    record = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    record.query_params["visit"] = "2"
    record.run()
    assert "The left leg holds" in words(record)


def test_the_limb_of_another_day_is_not_held_against_this_one(home, models, other_side):
    add_visit(models[0])
    add_visit(other_side, 1)
    with Store() as store:
        assert len(store.list_visits()) == 2
    assert text.BOTH not in [one.value for one in visit_page(begun()).subheader]


def test_limbs_that_cannot_be_held_against_each_other_do_not_hide_the_one(
    home, models, other_side, monkeypatch
):
    def refuse(*_, **__):
        raise CourseError("They share too little.", do="Measure both alike.")

    add_visit(models[0])
    add_visit(other_side)
    monkeypatch.setattr(care, "both_limbs", refuse)
    test = visit_page(begun())
    assert "They share too little." in words(test)
    assert text.PROFILE in [one.value for one in test.subheader]
