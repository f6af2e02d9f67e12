"""A wrap's plan is kept with its visit, and goes wherever the visit goes."""

import sqlite3

import pytest
from solid_limbs import cone_with, limb

from digitise.care.wrap.plan import plan_to_toml
from digitise.care.wrap.suggestion import suggest_plan
from digitise.errors import PlanError, RecordError
from digitise.record.backup import restore
from digitise.record.export import export_client
from digitise.record.store import Store

from .conftest import a_visit

PLAN = plan_to_toml(suggest_plan(limb(cone_with())))
OTHER = PLAN.replace("overlap = 0.5", "overlap = 0.4", 1)


def test_kept_changed_and_dropped(store):
    number = store.add_visit(a_visit())
    assert store.plan(number) is None
    store.keep_plan(number, PLAN, seen=None)
    assert store.plan(number) == PLAN
    assert OTHER != PLAN
    store.keep_plan(number, OTHER, seen=PLAN)
    assert store.plan(number) == OTHER
    # a visit that is changed keeps it
    store.replace_visit(number, a_visit(note="seen again"), seen=None)
    assert store.plan(number) == OTHER
    store.keep_plan(number, None, seen=OTHER)
    assert store.plan(number) is None


def test_a_plan_that_somebody_kept_meanwhile_is_not_overwritten(store):
    number = store.add_visit(a_visit())
    store.keep_plan(number, PLAN, seen=None)
    for text in (OTHER, None):
        with pytest.raises(RecordError, match="since it was shown"):
            store.keep_plan(number, text, seen=None)
    assert store.plan(number) == PLAN


def test_what_is_no_plan_and_no_visit_is_refused(store):
    number = store.add_visit(a_visit())
    with pytest.raises(PlanError):
        store.keep_plan(number, "width_mm = 'broad'", seen=None)
    assert store.plan(number) is None
    for ask in (lambda: store.plan(number + 1), lambda: store.keep_plan(number + 1, PLAN, seen=None)):
        with pytest.raises(RecordError, match="not in the records"):
            ask()


def test_backup_restore_and_export_hold_it(store, tmp_path):
    number = store.add_visit(a_visit())
    store.keep_plan(number, PLAN, seen=None)
    store.backup(tmp_path / "b.zip")
    restore(tmp_path / "b.zip", tmp_path / "again.sqlite")
    with Store(tmp_path / "again.sqlite", create=False) as again:
        assert again.plan(number) == PLAN
        export_client(again, "K-017", tmp_path / "out")
    (found,) = (tmp_path / "out").rglob("plan.toml")
    assert found.read_text() == PLAN


@pytest.mark.parametrize("way", ["the visit", "the client"])
def test_no_byte_of_it_is_left(tmp_path, way):
    path = tmp_path / "r.sqlite"
    with Store(path) as store:
        number = store.add_visit(a_visit())
        store.keep_plan(number, PLAN.replace('note = "', 'note = "MARKED ', 1), seen=None)
        proof = store.remove_visit(number, by="AB") if way == "the visit" else store.forget("K-017")
        assert proof.rows["plans"] == 1
    assert b"MARKED" not in b"".join(each.read_bytes() for each in tmp_path.iterdir())
    with sqlite3.connect(path) as connection:
        assert connection.execute("SELECT count(*) FROM plans").fetchall() == [(0,)]
    connection.close()
