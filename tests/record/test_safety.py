"""Safety answers are kept once per client, and read together with what every visit asked."""

import sqlite3
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.answers_file import read_answers
from digitise.errors import RecordError, SafetyError
from digitise.record.backup import restore
from digitise.record.export import export_client
from digitise.record.store import Store
from digitise.record.values import Clearance

from .conftest import a_visit

TAKEN = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)
CHECKS = (
    ArterialCheck("ankle-brachial", 1.02, date(2026, 3, 2), "left", "CD"),
    ArterialCheck("toe-pressure", 75.0, date(2026, 2, 1), "both"),
)
KEPT = SafetyAnswers(
    conditions=(("bypass", False), ("allergy", True)), conditions_asked=date(2026, 3, 2), arterial=CHECKS
)


def visit(week=0, answer="not-asked", signs=(), **more):
    taken = TAKEN + timedelta(weeks=week)
    when = None if answer == "not-asked" else taken
    return a_visit(taken=taken, clearance=Clearance(answer, "AB" if when else "", when, signs), **more)


def test_what_is_saved_is_read_back(store):
    store.add_visit(visit())
    store.save_safety("k-017", replace(KEPT, arterial=(replace(CHECKS[0], by="cd"), CHECKS[1])))
    assert store.safety("K-017") == KEPT
    store.save_safety("K-017", SafetyAnswers(arterial=CHECKS[1:]))
    assert store.safety("K-017") == SafetyAnswers(arterial=CHECKS[1:])


def test_signs_and_clearance_stay_with_visits(store):
    store.add_visit(visit(answer="yes", signs=(("clot", False),)))
    store.save_safety("K-017", replace(KEPT, clearance="no", signs=(("infection", True),)))
    assert store.safety("K-017") == replace(
        KEPT, clearance="yes", clearance_by="AB", signs=(("clot", False),), signs_asked=date(2026, 3, 2)
    )


def test_nobody_else_gets_them(store):
    store.add_visit(visit())
    store.add_visit(visit(client="B-2"))
    store.save_safety("K-017", KEPT)
    assert store.safety("B-2") == SafetyAnswers()


def test_a_sign_stays_open_until_it_was_asked_again_also_on_the_other_limb(store):
    first = store.add_visit(visit(0, "yes", (("infection", True), ("clot", False))))
    second = store.add_visit(visit(1, "yes", (("clot", False),), side="right"))
    assert store.safety("K-017").signs == (("infection", True), ("clot", False))
    store.add_visit(visit(2, "yes", (("infection", False), ("clot", True))))
    for number in (first, second):
        assert dict(store.safety("K-017", number).signs)["clot"]
        assert not dict(store.safety("K-017", number).signs).get("infection", False)


def test_that_a_sign_was_not_there_tells_nothing_of_a_later_visit(store):
    store.add_visit(visit(0, "yes", (("infection", False),)))
    assert store.safety("K-017").signs == (("infection", False),)
    store.add_visit(visit(1, "yes"))
    assert store.safety("K-017").signs == ()


def test_clearance_is_of_the_visit_unless_the_last_answer_is_no(store):
    first = store.add_visit(visit(0, "yes"))
    second = store.add_visit(visit(1))
    assert store.safety("K-017", first).clearance == "yes"
    assert store.safety("K-017", second).clearance == "not-asked"
    third = store.add_visit(visit(2, "no"))
    assert {store.safety("K-017", one).clearance for one in (first, second, third, None)} == {"no"}
    fourth = store.add_visit(visit(3, "yes"))
    found = [store.safety("K-017", one).clearance for one in (first, second, third, fourth)]
    assert found == ["yes", "not-asked", "no", "yes"]


def test_somebody_elses_change_is_not_overwritten(store):
    store.add_visit(visit(answer="yes", signs=(("clot", True),)))
    seen = store.safety("K-017")
    store.save_safety("K-017", KEPT, seen=seen)
    with pytest.raises(RecordError, match="changed by someone else"):
        store.save_safety("K-017", SafetyAnswers(arterial=CHECKS), seen=seen)
    assert store.safety("K-017").conditions == KEPT.conditions


def test_answers_go_with_the_last_visit_to_the_right_code(store):
    mine = store.add_visit(visit())
    store.add_visit(visit(client="B-2"))
    store.save_safety("K-017", KEPT)
    earlier = replace(
        KEPT, conditions=(("bypass", True), ("heart-4", True)), conditions_asked=date(2026, 1, 5)
    )
    store.save_safety("B-2", replace(earlier, arterial=(replace(CHECKS[0], value=0.5),)))
    store.mend_visit(mine, client="B-2")
    found = store.safety("B-2")
    assert dict(found.conditions) == {"bypass": False, "heart-4": True, "allergy": True}
    # of one check of one day the later note counts
    assert sorted(check.value for check in found.arterial) == [1.02, 75.0]
    assert found.conditions_asked == date(2026, 1, 5)
    with pytest.raises(RecordError, match="not in the records"):
        store.safety("K-017")


def test_answers_stay_where_other_visits_are_left(store):
    mine = store.add_visit(visit())
    store.add_visit(visit(1))
    store.save_safety("K-017", KEPT)
    store.mend_visit(mine, client="B-2")
    assert (store.safety("K-017"), store.safety("B-2")) == (KEPT, SafetyAnswers())


def test_answers_are_there_when_all_visits_were_removed(store):
    store.remove_visit(store.add_visit(visit(answer="yes", signs=(("clot", True),))))
    store.add_visit(visit())
    store.save_safety("K-017", KEPT)
    store.remove_visit(store.list_visits("K-017")[0].id)
    assert store.safety("K-017") == KEPT
    assert store.forget("K-017").rows["arterial_checks"] == 2


WRONG = {
    "condition's code": ({"conditions": (("Bypass!", True),)}, "condition"),
    "condition twice": ({"conditions": (("bypass", True), ("bypass", False))}, "twice"),
    "conditions without a day": ({"conditions_asked": None}, "day"),
    "a day without conditions": ({"conditions": ()}, "day"),
    # a day more than needed: midnight may pass before the test comes
    "asked in three days": ({"conditions_asked": date.today() + timedelta(days=3)}, "future"),
    "checked long ago": ({"arterial": (replace(CHECKS[0], when=date(1999, 12, 31)),)}, "before 2000"),
    "initials": ({"arterial": (replace(CHECKS[0], by="A. B."),)}, "initials"),
    "an index in percent": ({"arterial": (replace(CHECKS[0], value=102.0),)}, "0 to 3"),
    "too many": ({"arterial": CHECKS * 51}, "more than 100"),
}


@pytest.mark.parametrize("name", WRONG)
def test_what_cannot_be_kept_is_refused_and_nothing_changes(store, name):
    changes, words = WRONG[name]
    store.add_visit(visit())
    store.save_safety("K-017", KEPT)
    with pytest.raises((RecordError, SafetyError), match=words):
        store.save_safety("K-017", replace(KEPT, **changes))
    assert store.safety("K-017") == KEPT


def test_unknown_clients_and_visits_are_refused(store):
    store.add_visit(visit())
    other = store.add_visit(visit(client="B-2"))
    for call in (
        lambda: store.safety("N-9"),
        lambda: store.save_safety("N-9", KEPT),
        lambda: store.safety("K-017", other),
    ):
        with pytest.raises(RecordError, match="not in the records"):
            call()


def test_backup_restore_and_export_hold_them(store, new_place, tmp_path):
    store.add_visit(visit())
    store.save_safety("K-017", KEPT)
    store.backup(tmp_path / "b.zip")
    other = new_place()
    rows = restore(tmp_path / "b.zip", other)
    assert (rows["client_conditions"], rows["arterial_checks"]) == (1, 2)
    with Store(other, create=False) as restored:
        assert restored.safety("K-017") == KEPT
    export_client(store, "K-017", tmp_path / "out")
    assert read_answers(tmp_path / "out/answers.toml") == KEPT


def test_without_answers_no_file_is_exported(store, tmp_path):
    store.add_visit(visit())
    export_client(store, "K-017", tmp_path / "out")
    assert not (tmp_path / "out/answers.toml").exists()


def test_forgetting_counts_and_removes_them(store):
    store.add_visit(visit())
    store.add_visit(visit(client="B-2"))
    for client in ("K-017", "B-2"):
        store.save_safety(client, KEPT)
    proof = store.forget("K-017")
    assert (proof.rows["client_conditions"], proof.rows["arterial_checks"]) == (1, 2)
    assert store.safety("B-2") == KEPT
    store.add_visit(visit())
    assert store.safety("K-017") == SafetyAnswers()


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE client_conditions SET conditions_json = '{'",
        "UPDATE client_conditions SET conditions_json = '[1]'",
        'UPDATE client_conditions SET conditions_json = \'{"bypass": "perhaps"}\'',
        "UPDATE client_conditions SET asked_on = 'spring'",
        "UPDATE arterial_checks SET made_on = 'spring'",
        "UPDATE arterial_checks SET kind = 'guess'",
        "UPDATE arterial_checks SET side = 'top'",
        "UPDATE arterial_checks SET value = 250 WHERE kind = 'ankle-brachial'",
    ],
)
def test_stored_answers_that_are_none(tmp_path, damage):
    place = tmp_path / "records.sqlite"
    with Store(place) as store:
        store.add_visit(visit())
        store.save_safety("K-017", KEPT)
    with sqlite3.connect(place) as connection:
        connection.execute(damage)
    connection.close()
    with Store(place) as store, pytest.raises(RecordError, match="damaged"):
        store.safety("K-017")
