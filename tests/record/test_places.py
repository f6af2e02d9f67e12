"""Girths taped on foot or hand are kept with their visit, through every way in and out."""

import json
import sqlite3
from dataclasses import replace

import pytest
from record_models import model_of_visit

from digitise.cli import main
from digitise.errors import RecordError, TapeError
from digitise.record.backup import restore
from digitise.record.database import connect
from digitise.record.export import export_client, tape_csv
from digitise.record.migrations import schema
from digitise.record.store import Store
from digitise.tape.rows import PlaceGirth, TapeRow, TapeTable
from digitise.tape.table import read_tape_table, tape_table_from_csv
from digitise.workflow import remeasure as again
from digitise.workflow.many.batch_table import ResultRow

from .conftest import a_visit, girths

TAPED = (PlaceGirth("heel-instep", 331.5, 6, 60.25), PlaceGirth("ball-of-foot", 241.0, 7))
STATED = [
    {"place": "ball-of-foot", "girth_mm": 241.0, "photo_mm": None, "photo_mm_95": None,
     "difference_mm": None, "verdict": "not seen"},
]  # fmt: skip


def test_stored_replaced_and_forgotten(store):
    number = store.add_visit(a_visit(places=TAPED))
    stored = store.load_visit(number)
    assert (stored.places, stored.tape) == (TAPED, girths())
    store.replace_visit(number, a_visit(places=TAPED[1:]), seen=stored.state)
    assert store.load_visit(number).places == TAPED[1:]
    assert [line.what for line in store.history("K-017")] == ["changed"]
    assert store.forget("K-017").rows["place_girths"] == 1


def test_places_alone_are_a_visit(store):
    assert store.load_visit(store.add_visit(a_visit(tape=(), places=TAPED))).places == TAPED
    with pytest.raises(RecordError, match="neither photographs nor girths"):
        store.add_visit(a_visit(tape=()))


@pytest.mark.parametrize(
    ("changes", "reason"),
    [
        ({"places": (PlaceGirth("palm", 200.0),)}, "no place on a foot"),
        ({"places": (PlaceGirth("ball-of-foot", 900.0),)}, "outside 120 to 600"),
        ({"places": (TAPED[1], TAPED[1])}, "given twice"),
        ({"limb": "arm", "places": TAPED}, "no place on a hand"),
    ],
)
def test_what_cannot_be_of_this_limb_is_refused(store, changes, reason):
    with pytest.raises(TapeError, match=reason):
        store.add_visit(a_visit(**changes))
    with pytest.raises(RecordError, match="not in the records"):
        store.list_visits("K-017")


def test_a_model_holds_those_of_its_visit(store):
    model = model_of_visit(tape=girths(), place_girths=STATED)
    store.add_visit(a_visit(places=TAPED, model=model))
    for places in ((), TAPED[:1], (replace(TAPED[1], girth_mm=242.0),)):
        with pytest.raises(RecordError, match="other girths of foot or hand"):
            store.add_visit(a_visit(places=places, model=model))


def test_backup_and_restore(store, new_place, tmp_path):
    number = store.add_visit(a_visit(places=TAPED))
    store.backup(tmp_path / "b.zip")
    other = new_place()
    assert restore(tmp_path / "b.zip", other)["place_girths"] == 2
    with Store(other, create=False) as restored:
        assert restored.load_visit(number) == store.load_visit(number)


def test_records_of_the_form_before_are_brought_forward(tmp_path):
    path = tmp_path / "old.sqlite"
    database = connect(path)
    with database.writing() as session:
        schema.migrate(session.connection(), "0006")
    database.close()
    with sqlite3.connect(path) as old:
        old.execute("INSERT INTO clients VALUES (1, 'K-017')")
        old.execute("INSERT INTO limbs VALUES (1, 1, 'leg', 'left')")
        old.execute(
            "INSERT INTO visits VALUES (5, 1, '2026-03-02T09:15:00Z', 0, '', '', '', 'not-asked', '', NULL,"
            " '{}', NULL, NULL)"
        )
        old.execute("INSERT INTO tape_rows VALUES (5, 1, 100.0, 220.0, 2, 'B')")
    old.close()
    with Store(path) as store:
        visit = store.load_visit(5)
        assert (visit.tape, visit.places) == ((TapeRow(100.0, 220.0, 2, "B"),), ())
        assert store.load_visit(store.add_visit(a_visit(places=TAPED))).places == TAPED


def test_exported_and_read_again(store, tmp_path):
    store.add_visit(a_visit(places=TAPED))
    (folder,) = export_client(store, "K-017", tmp_path / "out")
    found = read_tape_table(folder / "tape.csv")
    assert [(row.place, row.girth_mm, row.height_mm) for row in found.places] == [
        ("heel-instep", 331.5, 60.25),
        ("ball-of-foot", 241.0, None),
    ]
    assert [replace(row, line=0) for row in found.rows] == [replace(row, line=0) for row in girths()]
    facts = json.loads((folder / "visit.json").read_text(encoding="utf-8"))
    assert facts["places"][1] == {"place": "ball-of-foot", "girth_mm": 241.0, "height_mm": None}


def test_a_table_of_places_alone_is_written_as_it_is_read():
    text = tape_csv((), (PlaceGirth("palm", 201.25, 2),))
    assert tape_table_from_csv(text, at_least=0) == TapeTable((), (PlaceGirth("palm", 201.25, 2),))


def test_measured_again_from_the_same_table(store, picture, full_visit, tmp_path, monkeypatch):
    tables = []

    def measured(jobs, *_, **__):
        tables.extend(read_tape_table(job.tape) for job in jobs)
        return tuple(ResultRow(job.name, "refused", reason="dark") for job in jobs)

    monkeypatch.setattr(again, "run_batch", measured)
    store.add_visit(replace(full_visit, places=TAPED))
    again.remeasure(store, tmp_path / "new")
    ((row, other),) = [table.places for table in tables]
    assert (row.girth_mm, other.girth_mm) == (331.5, 241.0)
    assert [row.point for row in tables[0].rows] == ["B", "", ""]


def test_the_command_keeps_and_shows_them(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "records.sqlite"))
    tape = tmp_path / "tape.csv"
    tape.write_text("height_mm,girth_mm,place\n100,220,\n,241,ball-of-foot\n")

    def run(*words):
        with pytest.raises(SystemExit) as end:
            main(["record", *(str(word) for word in words)])
        return end.value.code or 0, *capsys.readouterr()

    who = ("add", "--client", "K-1", "--limb", "leg", "--side", "left", "--tape", tape)
    code, out, _ = run(*who, "--json")
    assert (code, json.loads(out)["places"][0]["place"]) == (0, "ball-of-foot")
    code, out, _ = run("show", json.loads(out)["id"])
    assert code == 0
    assert "ball-of-foot" in out
    assert "241" in out
    tape.write_text("height_mm,girth_mm,place\n,241,palm\n")
    code, _, err = run(*who)
    assert (code, "palm is no place on a foot" in err) == (3, True)
