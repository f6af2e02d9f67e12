"""A saved visit shows all that is kept of it, is mended and removed, and its history is told."""

from datetime import datetime

import pytest
from streamlit.testing.v1 import AppTest
from ui_support import FIRST, ROOT, words

from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.tape.rows import TapeRow
from ui import text

SAMPLE = ROOT / "sample-images/pair-calf-week0"


def opened(visit=None):
    test = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    if visit is not None:
        test.query_params["visit"] = str(visit)
    test.run()
    assert not test.exception, test.exception
    return test


def field(test, label):
    (found,) = [one for one in test.text_input if one.label == label]
    return found


def press(test, label):
    (button,) = [one for one in test.button if one.label == label]
    button.click().run()
    assert not test.exception, test.exception


def kept(number=1):
    with Store() as store:
        return store.load_visit(number)


def test_a_wrong_date_is_mended_and_told(records):
    test = opened(1)
    day = field(test, text.DAY)
    assert day.value == f"{FIRST.astimezone():%Y-%m-%d}"
    day.input("2026-02-27")
    field(test, text.HOUR).input("14:05")
    field(test, text.MENDED_BY).input("ab")
    press(test, text.MEND_DO)
    assert text.MENDED.format(1, "K-017") in words(test)
    assert kept().taken == datetime(2026, 2, 27, 14, 5).astimezone()
    was = f"{FIRST.astimezone():%d %B %Y, %H:%M}"
    assert f"date mended from {was} to 27 February 2026, 14:05, by AB" in words(test)


@pytest.mark.parametrize(("day", "hour"), [("2126-01-01", "10:00"), ("2 March", "10:00"), ("", "25:00")])
def test_a_date_that_is_none_is_refused(records, day, hour):
    test = opened(1)
    field(test, text.DAY).input(day)
    field(test, text.HOUR).input(hour)
    press(test, text.MEND_DO)
    assert text.DAY_WRONG in words(test)
    assert kept().taken == FIRST


def test_an_emptied_date_is_no_date(records):
    test = opened(1)
    field(test, text.DAY).input("")
    field(test, text.HOUR).input("")
    press(test, text.MEND_DO)
    assert text.DAY_WRONG in words(test)
    assert kept().taken == FIRST


def test_a_wrong_code_is_mended_a_name_is_refused(records):
    test = opened(1)
    field(test, text.CLIENT_CODE).input("Anna")
    press(test, text.MEND_DO)
    assert "looks like a name" in words(test)
    field(test, text.CLIENT_CODE).input("K-018")
    press(test, text.MEND_DO)
    assert kept().client == "K-018"
    assert test.query_params["client"] == "K-018"
    assert "came from another code" in words(test)
    # the page of the other visit tells it too, and names nobody
    other = opened(2)
    assert "given to another code" not in words(other)  # that is a line of visit 1
    everything = words(opened())
    assert "K-017 · visit 1 · " in everything
    assert "given to another code" in everything


def test_a_visit_is_removed_when_its_number_is_typed(records):
    test = opened(1)
    (button,) = [one for one in test.button if one.label == text.REMOVE_DO.format(1)]
    assert button.disabled
    field(test, text.REMOVE_CONFIRM.format(1)).input("1").run()
    press(test, text.REMOVE_DO.format(1))
    assert "counted again, nothing is left" in words(test)
    assert "visit" not in test.query_params
    assert "K-017 · visit 1 · " in words(test)
    with Store() as store:
        assert [line.id for line in store.list_visits()] == [2]


def test_the_history_of_a_client_without_visits_can_be_forgotten(records):
    with Store() as store:
        for number in (1, 2):
            store.remove_visit(number)
    test = opened()
    assert text.HISTORY_GONE.format("K-017") in words(test)
    field(test, text.FORGET_CONFIRM).input("k-017").run()
    press(test, text.FORGET_DO.format("K-017"))
    with Store() as store:
        assert store.history() == ()


def test_a_visit_without_a_limb_shows_its_girths_photographs_and_answers(home):
    flags = tuple((code, False) for code in text.FLAG_NAMES if code != text.NO_FLAG)
    visit = NewVisit(
        "K-017",
        "arm",
        "right",
        FIRST,
        (TapeRow(100.0, 293.0), TapeRow(230.0, 307.0)),
        photos=(SAMPLE / "photo-1.jpg",),
        posture="sitting",
        measured_by="AB",
        clearance=Clearance("yes", "DR-1", FIRST, flags),
    )
    with Store() as store:
        store.add_visit(visit)
    test = opened(1)
    assert len(test.get("image")) == 1
    assert test.table[0].value["Girth, cm"].tolist() == ["29.3", "30.7"]
    said = words(test)
    for shown in (text.FLAGS_NONE, "Posture: Sitting", "Measured by (initials): AB", "DR-1"):
        assert shown in said


def test_the_other_side_is_measured_again(records, monkeypatch):
    gone = []
    monkeypatch.setattr("ui.components.frame.go_to", gone.append)
    # without photographs it cannot be, and the page says what to do
    test = opened(1)
    press(test, text.MEND_SIDE.format("right leg"))
    assert text.REOPEN_NEW in words(test)
    assert gone == []
