"""Each paper is made from its page, and a plan that was changed is kept with its visit."""

import math

import pytest
import streamlit
from ui_support import page, words

from digitise.care.wrap.plan import plan_from_toml
from digitise.record.store import Store
from ui import text


@pytest.fixture
def handed(monkeypatch):
    """What the page hands out, by name of the file."""
    files = {}

    def instead(_label, data, name, *_, **__):
        files[name] = data() if callable(data) else data
        return False

    monkeypatch.setattr(streamlit, "download_button", instead)
    return files


def button(test, label):
    return next(each for each in test.button if each.label == label)


def press(test, label):
    button(test, label).click().run(timeout=120)
    assert not test.exception
    assert not test.error


@pytest.mark.parametrize(
    ("name", "label", "file"),
    [
        ("padding", text.WRAP_PDF, "wrap.pdf"),
        ("padding", text.HOME_PDF, "home-card.pdf"),
        ("weeks", text.REPORT_MAKE, "report.pdf"),
    ],
)
def test_a_paper_is_made_and_handed_out(records, handed, name, label, file):
    press(page(name), label)
    assert handed[file].startswith(b"%PDF")


def needs(test):
    """The table of what each layer takes, the padding first."""
    table = next(one.value for one in test.table if tuple(one.value.columns) == text.WRAP_NEEDS)
    return [tuple(row) for row in table.to_numpy()]


def kept_plans():
    with Store() as store:
        return [store.plan(line.id) for line in store.list_visits()]


def test_a_changed_plan_is_kept_with_its_visit_and_followed(records, handed, monkeypatch):
    test = page("padding")
    roll = next(each for each in test.number_input if each.label == text.WRAP_ROLL["bandage"])
    suggested = roll.value
    roll.set_value(suggested + 2.5).run()
    press(test, text.PLAN_KEEP)
    first, last = kept_plans()
    assert first is None
    assert plan_from_toml(last.encode()).roll_length_mm == 1000 * (suggested + 2.5)
    # a day later, in another window: the plan that was agreed
    later = page("padding")
    assert text.PLAN_KEPT in words(later)
    assert (
        next(e for e in later.number_input if e.label == text.WRAP_ROLL["bandage"]).value == suggested + 2.5
    )
    assert button(later, text.PLAN_KEEP).disabled
    followed = []
    weeks = page("weeks")
    monkeypatch.setattr("ui.papers._report", lambda _, options, *__: followed.append(options.plan) or b"%PDF")
    wanted = text.REPORT_PRESSING["wrap"]
    next(box for box in weeks.checkbox if box.label == wanted).set_value(True).run()
    press(weeks, text.REPORT_MAKE)
    assert [plan.roll_length_mm for plan in followed] == [1000 * (suggested + 2.5)]
    press(later, text.PLAN_DROP)
    assert kept_plans() == [None, None]
    assert next(e for e in later.number_input if e.label == text.WRAP_ROLL["bandage"]).value == suggested


def test_padding_has_rolls_of_a_length_of_its_own(records):
    test = page("padding")
    roll = next(each for each in test.number_input if each.label == text.WRAP_ROLL["padding"])
    assert roll.value == 3.0
    before = needs(test)
    roll.set_value(1.0).run()
    after = needs(test)
    (padding, *bandages) = after
    # as many metres as it takes, told to 0.1 m
    assert int(padding[3]) in {math.ceil(float(padding[2]) + off) for off in (-0.05, 0.05)}
    assert int(padding[3]) > int(before[0][3])
    assert bandages == before[1:]
    press(test, text.PLAN_KEEP)
    assert plan_from_toml(kept_plans()[-1].encode()).padding_roll_length_mm == 1000


def without_padding(monkeypatch):
    """Take the first layer out of the suggested plan, as a person does once."""
    suggested = []

    def edited(rows, **_):
        suggested.append(len(rows))
        return rows[1:] if len(rows) == suggested[0] else rows

    monkeypatch.setattr(streamlit, "data_editor", edited)


def test_what_was_typed_is_there_in_another_unit_and_after_another_page(records, monkeypatch):
    """Its table is another one then; until it is kept or given up, the plan is the one that was left."""
    without_padding(monkeypatch)
    test = page("padding")
    bandages = needs(test)
    assert all(layer[0] != "padding" for layer in bandages)
    monkeypatch.setattr(streamlit, "data_editor", lambda rows, **_: rows)
    test.run()
    assert needs(test) == bandages
    press(test, text.PLAN_DROP)
    assert len(needs(test)) == len(bandages) + 1
    assert kept_plans() == [None, None]


def test_without_its_padding_a_wrap_is_of_bandages_alone(records, monkeypatch):
    without_padding(monkeypatch)
    press(page("padding"), text.PLAN_KEEP)
    layers = plan_from_toml(kept_plans()[-1].encode()).layers
    assert {(layer.kind, layer.thickness_mm) for layer in layers} == {("bandage", 1.0)}


def test_a_plan_that_somebody_kept_meanwhile_is_shown_and_not_overwritten(records):
    mine, theirs = page("padding"), page("padding")
    for test, more in ((mine, 2.0), (theirs, 4.0)):
        roll = next(each for each in test.number_input if each.label == text.WRAP_ROLL["bandage"])
        roll.set_value(roll.value + more).run()
    press(theirs, text.PLAN_KEEP)
    kept = kept_plans()
    button(mine, text.PLAN_KEEP).click().run()
    assert kept_plans() == kept
    assert text.PLAN_KEPT in words(mine)
