"""What is asked once of a client, what stands on top of its pages, and what waits until it is settled."""

import json
from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from situations import SITUATIONS, TODAY, given_today
from streamlit.testing.v1 import AppTest
from ui_support import ROOT, add_visit, page, unescaped, words

from digitise.care.safety.answers import SafetyAnswers
from digitise.care.safety.signs import CONDITIONS, STEP_TITLES, STEP_WORDS
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit
from digitise.tape.rows import TapeRow
from ui import text
from ui.components import sample

NOW = datetime.now().astimezone()
LATER = NOW.date() - TODAY


@pytest.fixture(scope="module")
def arm(models):
    """The same limb, told to be an arm."""
    from record_models import as_made_from

    said = json.loads(models[0].json)
    rows = [TapeRow(row["height_mm"], row["tape_mm"]) for row in said["tape_check"]]
    return as_made_from(models[0], (), rows, limb="arm")


def keep(model, given, kind="leg"):
    """A visit of today with its answers, as many days before today as before the day of the situations."""
    said = json.loads(model.json)
    rows = tuple(TapeRow(row["height_mm"], row["tape_mm"]) for row in said["tape_check"])
    when = NOW - timedelta(minutes=1)
    clearance = Clearance(
        given.clearance, "AB", None if given.clearance == "not-asked" else when, given.signs
    )
    checks = tuple(replace(one, when=one.when + LATER) for one in given.arterial)
    asked = given.conditions_asked and given.conditions_asked + LATER
    with Store() as store:
        visit = NewVisit("K-017", kind, "left", when, rows, model=model, clearance=clearance)
        number = store.add_visit(visit)
        store.save_safety("K-017", replace(given, conditions_asked=asked, arterial=checks))
    return number


def records_of(number):
    test = AppTest.from_file(str(ROOT / "ui/views/records.py"), default_timeout=60)
    test.query_params["visit"] = str(number)
    test.run()
    assert not test.exception
    return test


def stored():
    with Store() as store:
        return store.safety("K-017")


def papers(test):
    """Every button that makes or hands out what presses on a limb."""
    labels = {text.FOAM_DOWNLOAD, text.WRAP_PDF, text.HOME_PDF, text.GARMENT_DOWNLOAD}
    shown = [*test.button, *test.get("download_button")]
    return {one.label if hasattr(one, "label") else one.proto.label for one in shown} & labels


@pytest.mark.parametrize("name", given_today())
def test_situation(home, models, arm, monkeypatch, name):
    given, kind, step, withheld, codes, take_off = SITUATIONS[name]
    monkeypatch.delenv("DIGITISE_SAFETY_DAYS")
    # what is made of it is tested elsewhere
    monkeypatch.setattr("ui.care.places_of", lambda *_: ((), None))
    number = keep(models[0] if kind == "leg" else arm, given, kind)
    test = page("padding")
    said = words(test)
    assert (text.WITHHELD in said) == withheld
    # without places there is no foam, without a calf and an ankle no girth list
    assert papers(test) == (set() if withheld else {text.WRAP_PDF, text.HOME_PDF})
    assert (text.GARMENT in {box.label for box in test.expander}) != withheld
    assert all(words_of[step] in said for words_of in (STEP_WORDS, STEP_TITLES))
    assert ("take it off now" in said) == (take_off and step != "emergency")
    shown = [one.value for kind in (test.error, test.warning, test.info) for one in kind]
    assert sum(value.count("\n- ") + value.startswith("- ") for value in shown) == len(codes)
    weeks = words(page("weeks"))
    records = records_of(number)
    assert STEP_TITLES[step] in weeks
    assert STEP_WORDS[step] in words(records)
    assert all(
        box.disabled == withheld for box in records.checkbox if box.label in text.REPORT_PRESSING.values()
    )


def test_conditions_and_a_check_are_asked_once_and_release(home, models):
    keep(
        models[0],
        replace(SITUATIONS["nothing open, leg"][0], conditions=(), conditions_asked=None, arterial=()),
    )
    test = page("padding")
    assert text.WITHHELD in words(test)
    pills = next(group for group in test.button_group if group.label == text.CONDITIONS)
    assert pills.value == []
    assert button(test, text.CONDITIONS_SAVE).disabled
    pills.set_value(["none"]).run()
    button(test, text.CONDITIONS_SAVE).click().run()
    assert not test.exception
    # midnight may have passed since the test began
    assert NOW.date() <= stored().conditions_asked <= datetime.now().astimezone().date()
    assert dict(stored().conditions) == {one.code: False for one in CONDITIONS}
    assert text.WITHHELD in words(test)
    assert button(test, text.CHECK_SAVE).disabled
    fill_check(test, 0.97)
    assert (stored().arterial[0].value, stored().arterial[0].side, stored().arterial[0].by) == (
        0.97,
        "left",
        "CD",
    )
    assert text.WITHHELD not in words(test)
    assert papers(test)
    # the fields are empty again for the next check, and a wrong one can be taken back
    assert button(test, text.CHECK_SAVE).disabled
    next(one for one in test.button if one.label == text.CHECK_REMOVE).click().run()
    assert stored().arterial == ()
    assert text.WITHHELD in words(test)


def button(test, label):
    return next(one for one in test.button if one.label == label)


def fill_check(test, value, day=None):
    test.number_input(
        key=next(one.key for one in test.number_input if one.key.startswith("result-"))
    ).set_value(value).run()
    test.date_input[0].set_value(day or NOW.date()).run()
    next(group for group in test.button_group if group.label == text.CHECK_SIDE).set_value("left").run()
    next(one for one in test.text_input if one.label == text.CHECK_BY).set_value("cd").run()
    button(test, text.CHECK_SAVE).click().run()
    assert not test.exception


def test_a_result_that_cannot_be_is_told_and_nothing_kept(records):
    before = stored()
    test = page("padding")
    fill_check(test, 97.0)
    assert "97 is no result of a check" in words(test)
    assert stored() == before


def test_none_and_a_condition_cannot_both_be_on(records):
    test = page("padding")

    def pills():
        return next(group for group in test.button_group if group.label == text.CONDITIONS)

    assert pills().value == ["none"]
    pills().set_value(["none", "bypass"]).run()
    assert pills().value == ["bypass"]
    pills().set_value(["bypass", "none"]).run()
    assert pills().value == ["none"]
    pills().set_value(["none", "heart-3"]).run()
    button(test, text.CONDITIONS_SAVE).click().run()
    assert dict(stored().conditions)["heart-3"]
    assert text.WITHHELD in words(test)


def test_a_condition_that_is_not_on_the_list_is_shown_and_can_be_unset(records):
    with Store() as store:
        answers = replace(stored(), conditions=(*stored().conditions, ("own-words", True)))
        store.save_safety("K-017", answers)
    test = page("padding")
    assert text.WITHHELD in words(test)
    assert "own-words" in words(test)
    pills = next(group for group in test.button_group if group.label == text.CONDITIONS)
    assert pills.value == ["own-words"]
    pills.set_value(["own-words", "none"]).run()
    button(test, text.CONDITIONS_SAVE).click().run()
    assert not dict(stored().conditions)["own-words"]
    assert text.WITHHELD not in words(test)


def test_what_is_too_old_is_asked_again_without_an_answer_beforehand(records, monkeypatch):
    with Store() as store:
        old = replace(stored(), conditions_asked=NOW.date() - timedelta(days=40))
        store.save_safety("K-017", old)
    test = page("padding")
    assert next(group for group in test.button_group if group.label == text.CONDITIONS).value == ["none"]
    monkeypatch.setenv("DIGITISE_SAFETY_DAYS", "30")
    test = page("padding")
    assert next(group for group in test.button_group if group.label == text.CONDITIONS).value == []
    assert text.SAFETY_LEAD.format(30) in words(test)
    assert "Ask again whether anything has changed" in words(test)


def test_an_open_flag_stands_on_top_of_every_later_page_of_the_client(home, models, other_side):
    add_visit(models[0], 0, there=("lump",))
    with Store() as store:
        first = store.load_visit(1)
        clearance = Clearance("yes", "AB", first.taken + timedelta(days=7), (("clot", False),))
        rows = tuple(
            TapeRow(row["height_mm"], row["tape_mm"]) for row in json.loads(other_side.json)["tape_check"]
        )
        later = first.taken + timedelta(days=7)
        store.add_visit(NewVisit("K-017", "leg", "right", later, rows, model=other_side, clearance=clearance))
    for name in ("weeks", "padding", "teach"):
        test = page(name)
        test.selectbox[1].set_value(("right", "leg")).run() if name != "teach" else None
        assert any("new lump" in one.value.lower() for one in test.error), name
    assert any("new lump" in one.value.lower() for one in records_of(2).error)
    test = page("visit")
    test.text_input[0].set_value("k-017").run()
    assert any("new lump" in one.value.lower() for one in test.error)
    # this visit asks for signs and clearance itself
    assert "were not asked for" not in words(test)
    add_visit(models[1], 2)
    for name in ("weeks", "padding", "teach"):
        assert not page(name).error


def test_what_is_only_missing_does_not_stand_on_the_page_for_clients(home, models):
    add_visit(models[0])
    with Store() as store:
        store.save_safety("K-017", SafetyAnswers())
    assert any("not asked for" in one.value for one in page("weeks").warning)
    assert not page("teach").warning


def test_a_new_client_is_asked_for_nothing_before_the_first_visit_is_kept(home):
    test = page("visit")
    test.text_input[0].set_value("K-042").run()
    assert not [group for group in test.button_group if group.label == text.CONDITIONS]


def test_the_steps_of_urgency_have_their_own_words_on_the_visit(home):
    for sign, step in (("chest-pain", "emergency"), ("cold", "today"), ("lump", "ask")):
        test = page("visit")
        next(group for group in test.button_group if text.FLAGS in group.label).set_value([sign]).run()
        (error,) = test.error
        said = unescaped(error.value)
        assert all(words_of[step] in said for words_of in (STEP_WORDS, STEP_TITLES))
        assert ("take it off now" in said) == (sign == "cold")


def test_the_sample_is_answered_for(home, models):
    said = json.loads(models[0].json)
    rows = tuple(TapeRow(row["height_mm"], row["tape_mm"]) for row in said["tape_check"])
    signs = Clearance("yes", "AB", NOW, (("clot", False),))
    with Store() as store:
        for code in (sample.CODE, "K-017"):
            visit = NewVisit(
                code, "leg", "left", NOW - timedelta(minutes=1), rows, model=models[0], clearance=signs
            )
            store.add_visit(visit)
            sample.answer(code)
        assert store.safety(sample.CODE).arterial
        assert not store.safety("K-017").arterial
    assert text.WITHHELD in words(page("padding"))
