"""A stored visit becomes a draft again, and the changed draft takes its place."""

import hashlib
import io
import json
import os
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from output_support import measure
from PIL import Image
from record_models import as_made_from, tape_of
from streamlit.testing.v1 import AppTest
from ui_support import FIRST, ROOT, cell, page, words

from digitise.capture.sheets.field import field_to_json, read_field
from digitise.errors import RecordError
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.shape.limb import volume
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb
from ui import dates, measuring, present, text
from ui import draft as drafts
from ui.components import saving

SAMPLE = ROOT / "sample-images/pair-calf-week0"
CLEARED = Clearance("yes", "DR-1", FIRST, (("fever", True), ("clot", False), ("skin", True)))
DRAWN = '{"format": "outline-correction/1", "photo_sha256": null, "strokes": []}'


@pytest.fixture
def kept(home, models):
    """A visit of the records with all it was measured from, and its number."""
    photos = (SAMPLE / "photo-1.jpg", SAMPLE / "photo-2.jpg")
    rows = (TapeRow(100.0, 293.0, point="B"), TapeRow(230.0, 307.0))
    visit = NewVisit(
        "K-017",
        "leg",
        "left",
        FIRST,
        rows,
        photos=photos,
        field_json=(SAMPLE / "field.json").read_text(),
        model=as_made_from(models[0], photos, rows),
        corrections={2: DRAWN},
        posture="standing",
        measured_by="AB",
        note="first",
        clearance=CLEARED,
    )
    with Store() as store:
        return visit, store.add_visit(visit)


def test_a_visit_comes_back_as_it_was_typed(kept):
    visit, number = kept
    draft = saving.reopened(number)
    inputs = draft.read()
    assert (inputs.client, inputs.limb, inputs.side, inputs.clearance) == ("K-017", "leg", "left", "yes")
    assert (inputs.clearance_by, inputs.posture, inputs.measured_by) == ("DR-1", "standing", "AB")
    assert (inputs.note, inputs.flags, inputs.sheets) == ("first", ("skin",), "own")
    assert inputs.rows == (("10", "29.3"), ("23", "30.7"))
    assert (inputs.changes, inputs.saved, inputs.has_axis) == (number, None, False)
    assert draft.field_json == visit.field_json
    assert [draft.correction(path) for path in draft.photos] == [None, DRAWN]
    with Store() as store:
        assert [path.read_bytes() for path in draft.photos] == [store.photo(number, n) for n in (1, 2)]


def test_a_change_that_was_begun_goes_on(kept):
    _, number = kept
    draft = saving.reopened(number)
    draft.write(draft.read().model_copy(update={"note": "half done"}))
    assert saving.reopened(number) == draft
    draft.write(draft.read().model_copy(update={"saved": number}))
    assert saving.reopened(number) != draft


def test_what_was_saved_without_photographs_cannot_be_opened_again(home, models):
    with Store() as store:
        number = store.add_visit(NewVisit("K-017", "leg", "left", FIRST, tape_of(models[0]), model=models[0]))
    with pytest.raises(RecordError, match="without its photographs"):
        saving.reopened(number)
    assert not list(drafts.all_drafts())


def test_a_visit_that_was_forgotten_meanwhile_is_not_stored_again(kept):
    _, number = kept
    draft = saving.reopened(number)
    inputs = draft.read()
    with Store() as store:
        store.forget("K-017")
        assert not draft.folder.exists()
        with pytest.raises(RecordError):
            saving.save(draft, inputs, measure())
        assert store.list_visits() == ()


def measured_from(draft, rows):
    """A measured limb that says to come from a draft's photographs and these rows."""
    measured = measure()
    photos = tuple(
        replace(photo, sha256=hashlib.sha256(path.read_bytes()).hexdigest())
        for photo, path in zip(measured.photos, draft.photos, strict=True)
    )
    checks = tuple(
        replace(check, row=row) for check, row in zip(measured.fit.tape_checks, rows, strict=False)
    )
    fit = replace(measured.fit, tape_checks=checks)
    return replace(measured, photos=photos, tape=rows, fit=fit)


def saved_again(number, **changes):
    draft = saving.reopened(number)
    measured = measured_from(draft, (TapeRow(100.0, 290.0), TapeRow(240.0, 307.0)))
    assert saving.save(draft, draft.read().model_copy(update=changes), measured) == number
    with Store() as store:
        (line,) = store.list_visits()
        return store.load_visit(line.id)


def test_the_changed_visit_takes_the_place_of_the_stored_one(kept):
    visit, number = kept
    after = saved_again(number, note="second")
    assert (after.id, after.taken, after.note, len(after.photos)) == (number, visit.taken, "second", 2)
    # a row's letter stays with its height; what was asked elsewhere stays asked
    assert [(row.height_mm, row.girth_mm, row.point) for row in after.tape] == [
        (100, 290, "B"),
        (240, 307, ""),
    ]
    assert dict(after.corrections) == {2: DRAWN}
    assert after.clearance.red_flags[0] == ("fever", True)
    assert dict(after.clearance.red_flags)["skin"]
    assert (after.clearance.answer, after.clearance.when) == ("yes", CLEARED.when)


def test_girths_on_foot_or_hand_stay(home, kept):
    visit, number = kept
    taped = (PlaceGirth("ball-of-foot", 241.0, 4),)
    with Store() as store:
        store.replace_visit(number, replace(visit, places=taped))
    assert saved_again(number, note="second").places == taped
    with Store() as store:
        stated = json.loads(store.model(number).json)["place_girths"]
    assert [(row["place"], row["girth_mm"]) for row in stated] == [("ball-of-foot", 241.0)]


def test_the_other_side_is_opened_to_be_measured_again(kept, monkeypatch):
    _, number = kept
    gone = []
    monkeypatch.setattr("ui.components.frame.go_to", gone.append)
    test = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    test.query_params["visit"] = str(number)
    test.run()
    label = text.MEND_SIDE.format("right leg")
    next(button for button in test.button if button.label == label).click().run()
    assert not test.exception
    assert gone == ["visit"]
    inputs = saving.reopened(number).read()
    assert (inputs.side, inputs.changes, inputs.client) == ("right", number, "K-017")
    # nothing is changed in the records before it is looked at and saved
    with Store() as store:
        assert store.load_visit(number).side == "left"
        assert store.history() == ()


def test_of_two_changes_at_once_the_second_is_refused_and_nothing_is_lost(kept):
    _, number = kept
    mine, theirs = saving.reopened(number), "theirs"
    with Store() as store:
        visit = store.load_visit(number)
        store.replace_visit(number, replace(kept[0], note=theirs), seen=visit.state)
    with pytest.raises(RecordError, match="changed by someone else"):
        saving.save(mine, mine.read().model_copy(update={"note": "mine"}), measured_from(mine, kept[0].tape))
    with Store() as store:
        assert store.load_visit(number).note == theirs
    again = saving.reopened(number)
    assert again != mine
    assert again.read().note == theirs
    assert mine in drafts.all_drafts()


def test_a_wrong_date_and_side_are_mended(kept):
    visit, number = kept
    after = saved_again(number, day="2026-02-27", hour="14:05", note="first")
    assert after.taken == datetime(2026, 2, 27, 14, 5).astimezone()
    draft = saving.reopened(number)
    assert (draft.read().day, draft.read().hour) == ("2026-02-27", "14:05")
    assert after.taken != visit.taken
    # what was not touched keeps its seconds
    assert saved_again(number, note="third").taken == after.taken


@pytest.mark.parametrize(
    ("day", "hour", "sound"),
    [
        ("", "", True),
        ("2026-03-02", "09:15", True),
        ("2026-03-02", "", True),
        ("2026-3-2", "9:15", True),
        ("", "09:15", False),
        ("02.03.2026", "", True),
        ("2999-01-01", "", False),
        ("2026-03-02", "25:00", False),
    ],
)
def test_only_a_possible_date_counts(day, hour, sound):
    assert dates.is_sound(day, hour) == sound


def test_photographs_tell_when_they_were_taken():
    stream = io.BytesIO()
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = "2026:03:02 09:15:31"
    Image.new("RGB", (80, 60)).save(stream, "JPEG", exif=exif)
    assert dates.taken(stream.getvalue()) == datetime(2026, 3, 2, 9, 15, 31).astimezone()
    assert dates.taken(b"no photograph") is None
    exif.get_ifd(0x8769)[0x9003] = "2999:03:02 09:15:31"
    stream = io.BytesIO()
    Image.new("RGB", (80, 60)).save(stream, "JPEG", exif=exif)
    assert dates.taken(stream.getvalue()) is None


def test_another_answer_on_clearance_has_its_own_time(kept):
    _, number = kept
    clearance = saved_again(number, clearance="no").clearance
    assert clearance.answer == "no"
    assert datetime.now(UTC) - clearance.when < timedelta(minutes=5)
    assert saved_again(number, clearance="not-asked").clearance.when is None


def test_folders_of_drafts_that_never_came_to_be_go_too(home):
    unfinished = drafts.draft_of("u" * 20)
    unfinished.write_field("{}")
    drafts.remove_old()
    assert unfinished.folder.is_dir()
    then = time.time() - 20 * 86400
    os.utime(unfinished.folder, (then, then))
    drafts.remove_old()
    assert not unfinished.folder.exists()


@pytest.mark.slow
def test_sample_photographs_give_the_limb_of_the_command_and_a_tape_row_is_corrected(home):
    rows, field = read_tape(SAMPLE / "tape.csv"), read_field(SAMPLE / "field.json")
    photos = (SAMPLE / "photo-1.jpg", SAMPLE / "photo-2.jpg")
    measured = measure_limb(photos, field, rows)
    visit = NewVisit("K-017", "leg", "left", FIRST, rows, photos, field_to_json(field), clearance=CLEARED)
    with Store() as store:
        number = store.add_visit(replace(visit, model=measuring.model_files(measured)))
    test = page("visit", draft_token=saving.reopened(number).folder.name)
    assert test.title[0].value == text.CHANGE_TITLE.format(number, "K-017")
    assert test.text_input[0].disabled
    limb = measured.fit.limb
    whole = float(volume(limb, limb.from_mm, limb.to_mm).mean)
    assert test.metric[0].value.startswith(present.millilitres(whole))
    cell(test, "girth", 1).set_value(f"{rows[0].girth_mm / 10 + 1.5}").run()
    changed = test.metric[0].value
    assert not changed.startswith(present.millilitres(whole))
    test.button(key="save").click().run()
    assert text.CHANGED.format(number, "K-017") in words(test)
    assert test.metric[0].value == changed
    with Store() as store:
        (line,) = store.list_visits()
        assert store.load_visit(line.id).tape[0].girth_mm == rows[0].girth_mm + 15
