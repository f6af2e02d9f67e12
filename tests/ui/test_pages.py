"""Every page with nothing stored and with two visits, and what a person does on them."""

import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest
from ui_support import FIRST, ROOT, add_visit, cell, model_of, page, unescaped, words

from digitise.capture.calibration.lens import lens_from_json
from digitise.capture.checks.inspection import Inspection
from digitise.care.wrap.garment import CONFIRM
from digitise.errors import PhotoError, RecordError, ShapeError
from digitise.geometry.support import axis_from_points
from digitise.output.model.agreement import seal_of
from digitise.record.store import Store
from digitise.record.values import NewVisit
from digitise.tape.rows import TapeRow
from digitise.workflow import care as careflow
from ui import care, text, work
from ui import draft as drafts
from ui.components import photographs, sample
from ui.gate import Gate
from ui.lengths import CM

PAGES = {
    "setup": text.SETUP_TITLE,
    "visit": text.VISIT_TITLE,
    "weeks": text.WEEKS_TITLE,
    "padding": text.PADDING_TITLE,
    "teach": text.TEACH_TITLE,
    "records": text.RECORDS_TITLE,
}
SAMPLE = ROOT / "sample-images/pair-calf-week0"


def tape_of(model):
    return tuple(TapeRow(row["height_mm"], row["tape_mm"]) for row in json.loads(model.json)["tape_check"])


@pytest.mark.parametrize("name", PAGES)
def test_page_opens_with_empty_records(name, home):
    test = page(name)
    assert test.title[0].value == PAGES[name]
    assert text.FOOTER in words(test)
    if name in ("weeks", "padding", "teach", "records"):
        assert text.NO_RECORDS in words(test)


@pytest.mark.parametrize("name", PAGES)
def test_page_opens_with_two_visits(name, records):
    test = page(name)
    assert test.title[0].value == PAGES[name]
    assert not test.error


def test_weeks_says_what_changed_with_its_interval(records):
    test = page("weeks")
    lost = records[0]["volume_ml"] - records[1]["volume_ml"]
    sentence = next(m.value for m in test.markdown if "The limb is" in m.value)
    assert "**smaller**" in sentence
    # both limbs come from exact edges of solids 6 mm apart: the joint estimate differs by less than 1 %
    said = float(sentence.split("−")[1].split(" mL")[0].replace("\u202f", ""))
    assert said == pytest.approx(lost, rel=0.01)
    assert "95 %" in sentence


def warned(model, words):
    """The files of a model that warns in these words alone."""
    said = json.loads(model.json) | {"warnings": [{"code": "made-up", "text": words}]}
    return replace(model, json=json.dumps(said | {"seal": seal_of(said)}))


def test_what_makes_a_visit_less_sure_is_told_where_its_figures_are_used(home, models):
    """Under the change of two visits, the earlier one's by its date, and on the padding of one."""
    add_visit(warned(models[0], "The earlier visit is 12 mm doubtful."), 0)
    add_visit(warned(models[1], "The later visit is 13 mm doubtful."), 1)
    weeks, padding = words(page("weeks")), words(page("padding"))
    earlier = f"Visit of {FIRST:%Y-%m-%d}: The earlier visit is 1.2 cm doubtful."
    assert f"- The later visit is 1.3 cm doubtful.\n- {earlier}" in weeks
    assert "- The later visit is 1.3 cm doubtful." in padding
    assert "earlier visit is" not in padding


def test_teach_shows_no_code_and_no_date_unless_asked(records):
    test = page("teach")
    shown = "\n".join(m.value for m in test.markdown)
    assert text.TEACH_AFTER.format(3) in shown
    assert "K-017" not in shown
    assert "2026" not in shown
    test.toggle(key="codes").set_value(True).run()
    assert "K-017" in "\n".join(m.value for m in test.markdown)


def test_padding_names_visits_that_are_not_cleared(home, models):
    add_visit(models[0], cleared=False)
    test = page("padding")
    assert "Nobody noted whether a licensed practitioner cleared compression" in words(test)
    assert text.WITHHELD in words(test)


def test_padding_holds_the_limb_against_an_earlier_visit_or_the_other_limb(
    home, models, other_side, monkeypatch
):
    def noted(model, against):
        seen.append(against and against.summary.limb_sha256)
        return careflow.places_of(model, against)

    seen = []
    monkeypatch.setattr("ui.care.places_of", noted)
    care.forget_remembered()  # what an earlier test had worked out would not be asked for again
    for number, model in enumerate(models):
        add_visit(model, number)
    add_visit(other_side, 1)
    test = page("padding")
    offered = [
        text.PADDING_OWN,
        text.PADDING_EARLIER.format("02 March 2026"),
        text.PADDING_OTHER.format("right", "23 March 2026"),
    ]
    for number, means in ((1, "earlier"), (3, "other")):
        against = next(box for box in test.selectbox if box.label == text.PADDING_AGAINST)
        assert against.options == offered
        against.set_value(number).run()
        assert text.PADDING_MEANS[means] in words(test)
    assert not test.error
    assert seen == [None, *(json.loads(model.json)["limb_sha256"] for model in (models[0], other_side))]


def test_a_limb_that_still_changes_gets_no_girth_list_unless_asked(home, models, tmp_path):
    # a verdict takes three visits after the first week
    between = [model_of(slimmer, tmp_path) for slimmer in (2, 4)]
    for number, model in enumerate((models[0], *between, models[1])):
        add_visit(model, number)
    test = page("padding")
    assert text.GARMENT_CHANGES in words(test)
    assert CONFIRM not in words(test)
    next(box for box in test.checkbox if box.label == text.GARMENT_ANYWAY).set_value(True).run()
    assert not test.exception
    assert CONFIRM in words(test)
    # a cone has neither calf nor ankle: what is not told is named, and no empty table stands there
    assert text.GARMENT_MISSING.partition("{")[0] in words(test)
    assert all(len(table.value) for table in test.table)


def test_weeks_says_what_the_command_says_of_the_course(home, models, other_side):
    from digitise.output.course.words import course_sentences
    from digitise.workflow.course import follow
    from digitise.workflow.visits.sources import from_records, one_limb

    for number, by in enumerate(("AB", "CD")):
        add_visit(models[number], number, measured_by=by)
    add_visit(other_side, 1)
    test = page("weeks")
    with Store() as store:
        followed = one_limb(from_records(store, "K-017"), "leg", "left")
    for bilateral in (False, True):
        said = course_sentences(follow(followed, bilateral=bilateral))
        # lengths are told in the unit of the page
        assert "\n".join(f"- {CM.sentence(sentence)}" for sentence in said) in words(test)
        if not bilateral:
            assert any("Excess over the other limb" in sentence for sentence in said)
            test.toggle[0].set_value(True).run()
    assert any("AB" in sentence for sentence in said)


def test_red_flag_stops(home):
    test = page("visit")
    pills = next(group for group in test.button_group if text.FLAGS in group.label)
    pills.set_value(["clot"]).run()
    assert any("Do not wrap" in error.value for error in test.error)


def test_names_are_refused(home):
    test = page("visit")
    test.text_input[0].set_value("Jane Doe").run()
    assert any("code" in warning.value for warning in test.warning)


def test_saving_waits_for_code_clearance_and_red_flags(home):
    test = page("visit")
    assert text.WAITS_PHOTOS in words(test)
    assert test.button(key="save").disabled


def test_inputs_survive_a_new_session(home):
    test = page("visit")
    test.text_input[0].set_value("K-042").run()
    token = test.session_state["draft_token"]
    again = page("visit", draft_token=token)
    assert again.text_input[0].value == "K-042"
    assert drafts.draft_of(token).read().client == "K-042"


def test_tape_rows_say_what_is_wrong_with_them(home):
    test = page("visit")
    cell(test, "height", 1).set_value("23").run()
    assert text.ROW_GIRTH_MISSING in words(test)
    cell(test, "girth", 1).set_value("3.1").run()
    assert "A girth is 5 to 150 cm" in words(test)
    cell(test, "girth", 1).set_value("31,9").run()
    assert "A girth is" not in words(test)
    token = test.session_state["draft_token"]
    assert drafts.draft_of(token).read().rows[0] == ("23", "31,9")


def test_a_tape_table_with_places_is_taken_in(home):
    def app(table):
        import streamlit as st

        from ui import state
        from ui.components import photographs

        photographs._keep("draft", "tape.csv", table.encode())
        st.text(repr((state.value("rows"), state.value("places"))))

    def dropped(table):
        test = AppTest.from_function(app, kwargs={"table": table}).run()
        assert not test.exception
        return [box.value for box in (*test.warning, *test.error)], test.text[0].value

    head = "height_mm,girth_mm,place\n"
    ball = ("ball-of-foot", 241.0, 3, None)
    assert dropped(head + "100,220,\n,241,ball-of-foot\n") == ([], repr(([("10", "22")], (ball,))))
    alone = ("ball-of-foot", 241.0, 2, None)
    assert dropped(head + ",241,ball-of-foot\n") == ([], repr((None, (alone,))))
    (said,), _ = dropped(head + ",24,ball-of-foot\n")
    assert "of ball-of-foot is outside" in said
    assert "24 fits as cm" in said


def test_what_is_taped_on_the_foot_is_typed_shown_and_removed(home):
    def app():
        import streamlit as st

        from ui import state
        from ui.components import places
        from ui.inputs import Inputs
        from ui.lengths import CM

        taped = state.value("places")
        places.table(Inputs(limb="leg", places=taped or ()), CM)
        st.text(repr(taped))

    def add(test, place, read):
        test.selectbox[0].set_value(place)
        test.text_input[0].set_value(read)
        test.button[-1].click().run()
        assert not test.exception
        return " ".join(box.value for box in test.warning)

    test = AppTest.from_function(app).run()
    assert add(test, "ball-of-foot", "24,1") == ""
    assert test.text[0].value == "(('ball-of-foot', 241.0, 0, None),)"
    assert "Ball of the foot: **24.1 cm**" in " ".join(one.value for one in test.markdown)
    # each place once; and no number, no girth, no length that can be there is taken in
    assert "ball-of-foot" not in test.selectbox[0].options
    assert "is no number" in add(test, "heel-instep", "x")
    assert "A girth is 18 to 80 cm" in add(test, "heel-instep", "8")
    assert "This length is 15 to 35 cm" in add(test, "foot-length", "50")
    assert add(test, "foot-length", "26") == ""
    test.button[0].click().run()
    assert test.text[0].value == "(('foot-length', 260.0, 0, None),)"


def choose_unit(test, name):
    next(group for group in test.button_group if group.label == text.UNIT).set_value(name).run()


def test_another_unit_keeps_what_was_typed_and_converts_on_request(home):
    test = page("visit")
    for name, value in (("height", "9.5"), ("girth", "12.5")):
        cell(test, name, 1).set_value(value).run()
    cell(test, "girth", 2).set_value("x3").run()
    choose_unit(test, "in")
    assert [cell(test, name, 1).value for name in ("height", "girth")] == ["9.5", "12.5"]
    assert text.UNIT_KEPT.format("inches") in words(test)
    assert page("weeks").session_state["unit"] == "in"
    next(button for button in test.button if button.label == text.UNIT_CONVERT).click().run()
    assert [cell(test, name, 1).value for name in ("height", "girth")] == ["3.74", "4.92"]
    assert cell(test, "girth", 2).value == "x3"


def test_a_row_can_be_removed(home):
    test = page("visit")
    for row, girth in ((1, "30"), (2, "35"), (3, "40")):
        cell(test, "girth", row).set_value(girth).run()
    next(button for button in test.button if button.label == text.ROW_REMOVE.format(2)).click().run()
    assert [cell(test, "girth", row).value for row in (1, 2)] == ["30", "40"]


def test_a_draft_of_an_earlier_version_is_read_on(home):
    kept = drafts.draft_of("a" * 24)
    kept.write(drafts.Inputs())
    (kept.folder / "draft.json").write_text('{"unit": "mm", "rows": [[100.0, 319.5], [null, 300]]}')
    assert kept.read().rows == (("10", "31.95"), ("", "30"))


@pytest.mark.parametrize(
    "rows", ["7", "[7]", "[[[1], 2]]", "[[1e400, 2]]", "[[NaN, 2]]", f"[[1{'0' * 400}, 2]]"]
)
def test_a_damaged_draft_of_an_earlier_version_is_set_aside(home, rows):
    kept = drafts.draft_of("b" * 24)
    kept.write(drafts.Inputs())
    (kept.folder / "draft.json").write_text(f'{{"unit": "mm", "rows": {rows}}}')
    with pytest.raises(RecordError, match="damaged"):
        kept.read()
    assert kept.read() == drafts.Inputs()


def test_forgetting_a_client_also_removes_drafts(records):
    kept = drafts.draft_of("a" * 24)
    kept.write(drafts.Inputs(client="K-017"))
    test = page("records")
    test.button(key="open-1").click().run()
    test.text_input(key="forget-K-017").set_value("K-017").run()
    button = next(one for one in test.button if one.label == text.FORGET_DO.format("K-017"))
    button.click().run()
    assert not test.exception
    assert not kept.folder.exists()
    with Store() as store:
        assert store.list_clients() == ()


def test_a_stored_visit_is_found_opened_and_named_by_the_address(records):
    test = page("records")
    for sought, found in (("k-017 left 2026-03-02", [1]), ("leg", [2, 1]), ("right", []), ("23 march", [2])):
        test.text_input(key="find").set_value(sought).run()
        shown = [int(b.key.split("-")[1]) for b in test.button if b.key and b.key.startswith("open-")]
        assert shown == found
    test.text_input(key="find").set_value("").run()
    test.button(key="open-1").click().run()
    assert not test.error
    assert (test.query_params["visit"], test.query_params["client"]) == ("1", "K-017")
    volume = f"{records[0]['volume_ml']:,.0f}".replace(",", "\u202f")
    assert test.metric[0].value.startswith(volume)
    # the address alone leads back to it after a reload
    again = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    again.query_params["visit"] = "1"
    again.run()
    assert again.metric[0].value.startswith(volume)
    again.query_params["visit"] = "77"
    assert text.RECORDS_GONE.format(77) in words(again.run())


def test_the_address_names_the_client_on_other_pages_but_not_where_others_look_on(records, other_side):
    with Store() as store:
        first = store.load_visit(1)
        store.add_visit(NewVisit("K-099", "leg", "left", first.taken, first.tape, model=store.model(1)))
    test = AppTest.from_file(str(ROOT / "ui/views/weeks.py"), default_timeout=60)
    test.query_params["client"] = "K-017"
    test.run()
    assert test.selectbox(key="chosen-client").value == "K-017"
    assert "client" not in page("teach").query_params


def test_a_note_is_shown_to_the_letter(home, models):
    typed = "![x](http://a.example/x.png) *not* :red[loud]\nsecond line"
    with Store() as store:
        store.add_visit(
            NewVisit("K-017", "leg", "left", FIRST, tape_of(models[0]), model=models[0], note=typed)
        )
    test = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    test.query_params["visit"] = "1"
    test.run()
    shown = next(m.value for m in test.markdown if "second line" in m.value)
    assert unescaped(shown) == typed.replace("\n", "  \n")
    for obeyed in ("![x]", "](", "*not*", ":red["):
        assert not re.search(r"(?<!\\)" + re.escape(obeyed), shown)


def test_the_sample_is_opened_from_an_empty_page_marked_and_removed(home, models):
    draft = sample.new_draft()
    assert draft.read().client == sample.CODE
    assert len(draft.photos) == 3  # from two sides and from above
    for name in ("records", "weeks", "visit"):
        assert any(button.label == text.SAMPLE_OPEN for button in page(name).button)
    with Store() as store:
        store.add_visit(NewVisit(sample.CODE, "leg", "left", FIRST, tape_of(models[0]), model=models[0]))
    add_visit(models[0])
    test = page("records")
    assert text.SAMPLE_KEPT in words(test)
    test.button(key="sample-remove").click().run()
    with Store() as store:
        assert [client.code for client in store.list_clients()] == ["K-017"]
    assert not draft.folder.exists()


def test_none_of_these_and_a_sign_cannot_both_be_on(home):
    test = page("visit")

    def flags():
        return next(group for group in test.button_group if text.FLAGS in group.label)

    flags().set_value(["none"]).run()
    flags().set_value(["none", "clot"]).run()
    assert flags().value == ["clot"]
    flags().set_value(["clot", "none"]).run()
    assert flags().value == ["none"]
    assert drafts.draft_of(test.session_state["draft_token"]).read().flags == ()


def test_clearing_can_be_taken_back(home):
    test = page("visit")
    test.text_input[0].set_value("K-042").run()
    token = test.session_state["draft_token"]
    next(button for button in test.button if button.label == text.START_OVER).click().run()
    assert test.text_input[0].value == ""
    assert text.CLEARED in words(test)
    assert not [button for button in test.button if button.label == text.CONTINUE]
    test.button(key="undo-cleared").click().run()
    assert (test.session_state["draft_token"], test.text_input[0].value) == (token, "K-042")


def test_two_tabs_of_one_visit_keep_both_girths_and_the_later_is_told(home):
    one = page("visit")
    one.text_input[0].set_value("K-042").run()
    token = one.session_state["draft_token"]
    two = page("visit", draft_token=token)
    cell(one, "girth", 1).set_value("31").run()
    cell(two, "girth", 2).set_value("35").run()
    assert text.OTHER_TAB in words(two)
    assert [cell(two, "girth", row).value for row in (1, 2)] == ["31", "35"]
    assert [girth for _, girth in drafts.draft_of(token).read().rows[:2]] == ["31", "35"]
    one.run()
    assert [cell(one, "girth", row).value for row in (1, 2)] == ["31", "35"]


def test_a_damaged_draft_is_told(home):
    kept = drafts.draft_of("a" * 24)
    kept.write(drafts.Inputs(client="K-042"))
    (kept.folder / "draft.json").write_text("{")
    assert "damaged" in words(page("visit", draft_token=kept.folder.name))


def test_one_bad_photograph_hides_no_other_and_is_named_as_its_owner_does(home):
    kept = drafts.draft_of("a" * 24)
    kept.add_photo((SAMPLE / "photo-1.jpg").read_bytes(), "photo-1.jpg")
    stream = io.BytesIO()
    Image.new("RGB", (1200, 900), "grey").save(stream, "JPEG")
    kept.add_photo(stream.getvalue(), "IMG_7.jpg")
    kept.write_field((SAMPLE / "field.json").read_text())
    names = {"photo-1.jpg": "IMG_6.jpg", "photo-2.jpg": "IMG_7.jpg"}
    kept.write(drafts.Inputs(limb="leg", side="left", sheets="own", names=names))
    test = page("visit", draft_token=kept.folder.name)
    assert len(test.get("image")) == 2
    said = words(test)
    assert "IMG_6.jpg" in said
    assert "IMG_7.jpg" in said
    assert "No marker found" in said
    assert "hoto-1.jpg" not in said


def test_photographs_of_other_sheets_say_which(home, monkeypatch):
    kept = drafts.draft_of("a" * 24)
    for name in ("photo-1.jpg", "photo-2.jpg"):
        kept.add_photo((SAMPLE / name).read_bytes(), name)
    kept.write_field((SAMPLE / "field.json").read_text())
    kept.write(drafts.Inputs(limb="leg", side="left", sheets="roll"))
    test = page("visit", draft_token=kept.folder.name)
    assert text.SHEETS_SEEN.format(text.SHEETS_NAMES["own"], text.SHEETS_NAMES["roll"]) in words(test)
    key = f"visit-{kept.folder.name}-sheets_use"
    monkeypatch.setattr("ui.measuring.find_outlines", lambda *_, **__: fail())
    test.button(key=key).click().run()
    assert kept.read().sheets == "own"


def fail():
    raise PhotoError("far enough")


def test_heights_of_the_last_visit_are_filled_in_for_the_same_limb(records):
    test = page("visit")
    test.text_input[0].set_value("k-017").run()
    choices = {group.label: group for group in test.button_group}
    choices[text.LIMB].set_value("leg").run()
    choices = {group.label: group for group in test.button_group}
    choices[text.SIDE].set_value("left").run()
    heights = [row["height_mm"] / 10 for row in records[0]["tape_check"]]
    assert [float(cell(test, "height", n).value) for n in range(1, len(heights) + 1)] == heights
    assert cell(test, "girth", 1).value == ""
    assert text.HEIGHTS_FROM_LAST in words(test)


def test_heights_of_one_limb_do_not_stay_for_another(records):
    test = page("visit")
    test.text_input[0].set_value("K-017").run()
    choose(test, text.LIMB, "leg")
    choose(test, text.SIDE, "left")
    assert cell(test, "height", 1).value
    choose(test, text.SIDE, "right")
    assert not cell(test, "height", 1).value
    assert text.HEIGHTS_FROM_LAST not in words(test)


def test_the_gate_lets_nobody_see_a_page_without_the_passphrase(home, monkeypatch):
    monkeypatch.setattr("ui.components.frame.GATE", Gate("right words"))
    test = AppTest.from_file(str(ROOT / "ui/app.py"), default_timeout=60).run()
    assert [title.value for title in test.title] == [text.GATE_TITLE]
    test.text_input[0].set_value("wrong words")
    test.button[0].click().run()
    assert text.GATE_WRONG in words(test)
    test.text_input[0].set_value("right words")
    test.button[0].click().run()
    assert [title.value for title in test.title] == [text.VISIT_TITLE]


def test_no_script_is_served_past_the_frame():
    # the server would serve a folder of this name beside app.py by itself, without the gate
    assert not (ROOT / "ui/pages").exists()


# ---- an arm's axis, a lens profile -----------------------------------------------------------------


def choose(test, label, value):
    next(group for group in test.button_group if group.label == label).set_value(value).run()


def axis_inputs(test):
    return [field for field in test.number_input if field.key.split("-")[-2] == "axis"]


def test_only_an_arm_is_asked_for_its_axis_and_it_may_stay_empty(home):
    test = page("visit")
    for limb, count in (("leg", 0), ("arm", 6), ("leg", 0), ("arm", 6)):
        choose(test, text.LIMB, limb)
        assert len(axis_inputs(test)) == count
    assert text.WAITS_AXIS not in words(test)
    for number, value in enumerate((0, 10, 30, 0, 250, 60)):
        axis_inputs(test)[number].set_value(float(value)).run()
        assert (text.WAITS_AXIS in words(test)) == (number < 5)
    token = test.session_state["draft_token"]
    axis = work.axis_of(drafts.draft_of(token).read())
    assert (axis.rotation == axis_from_points(np.array([0, 10, 30]), np.array([0, 250, 60])).rotation).all()
    assert work.axis_of(drafts.Inputs()) is None


def test_axis_and_lens_profile_reach_the_same_functions_as_on_the_command_line(home, monkeypatch, lens):
    def outlines(photos, inspection, field, **options):
        given.update(options)
        raise PhotoError("no limb", where="photo-1")

    def inspections(photos, detections, field, profile, **_):
        given["profile"] = profile
        return inspection

    given, inspection = {}, Inspection((), (), None)
    monkeypatch.setattr("ui.measuring.find_outlines", outlines)
    monkeypatch.setattr("ui.work.inspect_photos", inspections)
    monkeypatch.setattr("ui.work.find_markers", lambda *_: ())
    test = page("visit")
    draft = drafts.draft_of(test.session_state["draft_token"])
    for name in ("photo-1.jpg", "photo-2.jpg"):
        draft.add_photo((SAMPLE / name).read_bytes(), name)
    draft.write_lens(lens)
    axis = (0.0, 10.0, 30.0, 0.0, 250.0, 60.0)
    draft.write(drafts.Inputs(limb="arm", side="left", axis=axis))
    test = page("visit", draft_token=draft.folder.name)
    assert "photo-1: No limb" in words(test)
    assert given["profile"].photos == lens_from_json(lens, "").photos == 9
    assert (given["axis_from_world"].apply(np.array([0.0, 10.0, 30.0])) == 0).all()
    test.button(key=f"visit-{draft.folder.name}-lens_drop").click().run()
    assert given["profile"] is None
    assert draft.lens_json is None


def test_an_axis_of_one_point_is_an_error_on_the_page(home):
    with pytest.raises(ShapeError, match="same point"):
        work.axis_of(drafts.Inputs(axis=(1.0, 2.0, 3.0, 1.0, 2.0, 3.0)))


def test_a_lens_profile_is_told_from_a_field(home, lens):
    for data, is_lens in ((lens.encode(), True), ((SAMPLE / "field.json").read_bytes(), False)):
        assert photographs.is_lens(data) == is_lens
    for data in (b"{", b"[]", b"3", b'{"format": 3}', b"\xff"):
        assert not photographs.is_lens(data)
