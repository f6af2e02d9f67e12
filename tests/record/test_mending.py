"""Visits are mended and removed one by one; every step stands in the history, and a removed visit is gone."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from digitise.errors import RecordError
from digitise.record.backup import restore
from digitise.record.export import export_client
from digitise.record.forget import drafts_folder
from digitise.record.store import Store

from .conftest import a_visit
from .test_forget import found, held, pieces

RIGHT = datetime(2026, 2, 27, 8, 30, tzinfo=UTC)


def told(store, client=None):
    return [
        (line.client, line.visit, line.what, line.was, line.became, line.by) for line in store.history(client)
    ]


def test_a_mended_date_orders_the_visits_anew(store, full_visit):
    early, late = (
        store.add_visit(a_visit(taken=datetime(2026, 3, 2, tzinfo=UTC))),
        store.add_visit(full_visit),
    )
    before = store.load_visit(late)
    store.mend_visit(late, taken=RIGHT, by="ab", seen=before.state)
    assert store.load_visit(late) == replace(before, taken=RIGHT)
    assert [line.id for line in store.list_visits("K-017")] == [late, early]
    was = before.taken.isoformat(timespec="minutes")
    assert told(store) == [("K-017", late, "date", was, "2026-02-27T08:30+00:00", "AB")]
    with pytest.raises(RecordError, match="changed by someone else"):
        store.mend_visit(late, taken=before.taken, seen=before.state)
    store.mend_visit(late, taken=RIGHT)  # what is right already is no change
    assert len(store.history()) == 1


def test_a_visit_goes_to_the_right_client_with_all_that_hangs_on_it(store, full_visit):
    number = store.add_visit(full_visit)
    store.mend_visit(number, taken=RIGHT)
    before, photo, model = store.load_visit(number), store.photo(number, 1), store.model(number)
    store.mend_visit(number, client=" b-2 ", by="CD")
    assert store.load_visit(number) == replace(before, client="B-2")
    assert (store.photo(number, 1), store.model(number)) == (photo, model)
    # a code under which nothing is kept was a slip of the pen, and is gone
    assert [client.code for client in store.list_clients()] == ["B-2"]
    assert [(line.client, line.what, line.by) for line in store.history()] == [
        ("B-2", "date", ""),
        ("B-2", "taken-over", "CD"),
    ]
    assert store.forget("B-2").rows["history"] == 2
    with pytest.raises(RecordError, match="not in the records"):
        store.forget("K-017")


def test_neither_client_is_told_of_the_other(store, full_visit, tmp_path):
    moved, kept = store.add_visit(full_visit), store.add_visit(a_visit())
    store.mend_visit(moved, client="B-2")
    assert told(store, "K-017") == [("K-017", moved, "given", "", "", "")]
    assert told(store, "B-2") == [("B-2", moved, "taken-over", "", "", "")]
    assert [line.id for line in store.list_visits("K-017")] == [kept]
    export_client(store, "B-2", tmp_path / "out")
    texts = [path for path in (tmp_path / "out").rglob("*") if path.suffix in (".json", ".csv")]
    text = b"".join(path.read_bytes() for path in texts)
    assert b"taken-over" in text
    assert b"K-017" not in text
    store.forget("K-017")
    assert told(store) == [("B-2", moved, "taken-over", "", "", "")]


def test_a_photograph_of_two_visits_keeps_both_with_one_client(store, full_visit, picture):
    number = store.add_visit(full_visit)
    other = store.add_visit(a_visit(side="right", photos=(full_visit.photos[0],)))
    before = store.load_visit(number)
    with pytest.raises(RecordError, match=f"visit {other}"):
        store.mend_visit(number, client="B-2", taken=RIGHT)
    assert store.load_visit(number) == before
    assert store.history() == ()


@pytest.mark.parametrize(
    ("wrong", "what"),
    [
        ({"client": "Anna"}, "name"),
        ({"taken": datetime(2026, 3, 2)}, "time zone"),  # that is what is wrong with it
        ({"taken": datetime.now(UTC) + timedelta(days=3)}, "future"),
        ({"taken": RIGHT, "by": "Anna Maria"}, "initials"),
    ],
)
def test_what_cannot_be_is_refused(store, wrong, what):
    number = store.add_visit(a_visit())
    before = store.load_visit(number)
    with pytest.raises(RecordError, match=what):
        store.mend_visit(number, **wrong)
    assert (store.load_visit(number), store.history()) == (before, ())
    with pytest.raises(RecordError, match="not in the records"):
        store.mend_visit(number + 1, taken=RIGHT)


def test_a_change_by_measuring_again_is_told_too(store, full_visit):
    number = store.add_visit(full_visit)
    store.replace_visit(number, full_visit)
    assert store.history() == ()
    store.replace_visit(number, replace(full_visit, side="right", model=None, taken=RIGHT, measured_by="EF"))
    lines = [(line.what, line.became, line.by) for line in store.history("K-017")]
    assert lines == [
        ("date", "2026-02-27T08:30+00:00", "EF"),
        ("limb", "right leg", "EF"),
        ("changed", "", "EF"),
    ]


def test_a_removed_visit_is_gone_and_the_others_stay(store, full_visit, picture):
    number = store.add_visit(full_visit)
    kept = store.add_visit(a_visit(side="right", photos=(full_visit.photos[0], picture(5))))
    before = store.load_visit(kept)
    proof = store.remove_visit(number, by="AB")
    assert (proof.visit, proof.client, proof.photographs, proof.drafts) == (number, "K-017", 1, 0)
    assert proof.rows == {
        "visits": 1,
        "tape_rows": 3,
        "place_girths": 0,
        "photographs": 1,
        "visit_photographs": 2,
        "models": 1,
        "corrections": 1,
        "plans": 0,
    }
    assert store.load_visit(kept) == before
    assert store.photo(kept, 1)
    with pytest.raises(RecordError, match="not in the records"):
        store.load_visit(number)
    assert told(store) == [("K-017", number, "removed", "", "", "AB")]
    with pytest.raises(RecordError, match="not in the records"):
        store.remove_visit(number)
    # its number is never given again, and its line goes with the client
    assert store.add_visit(a_visit()) not in (number, kept)
    assert store.forget("K-017").rows["history"] == 1
    assert store.history() == ()


def test_no_byte_of_a_removed_visit_is_left(tmp_path, full_visit, picture, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    place = tmp_path / "r/records.sqlite"
    with Store(place) as store:
        gone = store.add_visit(replace(full_visit, note="UNMISTAKABLE-REMARK"))
        kept = store.add_visit(a_visit(photos=(picture(3),)))
        others = found(pieces(store.photo(kept, 1)), held(place))
        secrets = [b"UNMISTAKABLE-REMARK", *found(pieces(store.photo(gone, 1)), held(place))]
        # the page may still hold its photographs, in a visit that was saved today
        draft = drafts_folder() / "a-draft-of-it-with-a-name"
        draft.mkdir(parents=True)
        (draft / "photo-1.jpg").write_bytes(store.photo(gone, 1))
        untouched = drafts_folder() / "another-one-of-the-client"
        untouched.mkdir()
        (untouched / "draft.json").write_text('{"client": "K-017"}')
        copy = place.parent / "records-before-0003-20260302T091500Z.zip"
        copy.touch()
        proof = store.remove_visit(gone)
        assert (proof.copies, proof.drafts) == ((copy.name,), 1)
        assert (draft.exists(), untouched.exists(), copy.exists()) == (False, True, False)
        after = held(place)
    assert not [secret for secret in secrets if secret in after]
    assert all(piece in after for piece in others)


def test_the_history_is_in_a_backup(store, full_visit, new_place, tmp_path):
    number = store.add_visit(full_visit)
    store.mend_visit(number, taken=RIGHT)
    store.backup(tmp_path / "backup.zip")
    elsewhere = new_place()
    restore(tmp_path / "backup.zip", elsewhere)
    with Store(elsewhere) as again:
        assert again.history() == store.history()
        again.mend_visit(number, taken=RIGHT + timedelta(hours=1))
        assert len(again.history()) == 2
