"""Records of an older form are brought forward with a copy kept; migrations and tables say the same."""

import sqlite3
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from digitise.errors import RecordError
from digitise.record.backup import restore, write_backup
from digitise.record.database import connect
from digitise.record.migrations import schema
from digitise.record.store import Store
from digitise.record.tables import Base

from .conftest import a_visit

OLD = Path(__file__).parents[1] / "data/record/form-0001.sql"


@pytest.fixture
def old_file(tmp_path) -> Path:
    """Records of the first form, as a dump holds them."""
    path = tmp_path / "old/records.sqlite"
    path.parent.mkdir()
    with sqlite3.connect(path) as connection:
        connection.executescript(OLD.read_text())
    connection.close()
    return path


@pytest.fixture
def old_place(old_file, place, tmp_path) -> str:
    """The same on either kind of database."""
    if "://" not in place:
        return str(old_file)
    old = connect(old_file)
    write_backup(old, tmp_path / "old.zip")
    old.close()
    restore_as_it_was(tmp_path / "old.zip", place)
    return place


def restore_as_it_was(path, place):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(schema, "HEAD", "0001")
        restore(path, place)


def check_old_contents(store):
    assert [client.code for client in store.list_clients()] == ["B-2", "K-017"]
    visit = store.load_visit(3)
    assert (visit.taken.isoformat(), visit.note) == ("2026-03-02T10:15:00+01:00", "first form")
    assert [row.girth_mm for row in visit.tape] == [220.5, 250.0]
    assert visit.clearance.red_flags == (("fever", False),)
    assert (visit.has_field, visit.lens_json, dict(visit.corrections)) == (False, None, {})
    assert store.photo(3, 1) == b"\xff\xd8\xff\xd9"
    assert store.model(3).limb == b"PK"
    assert store.list_visits("B-2")[0].taken.isoformat() == "2026-03-03T05:45:00-03:30"


def test_old_records_are_brought_forward(old_place):
    with Store(old_place) as store:
        check_old_contents(store)
        assert store.add_visit(a_visit()) == 6
    with Store(old_place, create=False) as store:  # once and for all
        assert len(store.list_visits()) == 3


def test_a_copy_of_the_old_form_is_kept(old_file, tmp_path):
    for _ in range(2):
        Store(old_file).close()
    (copy,) = [path for path in old_file.parent.iterdir() if path != old_file]
    assert copy.name.startswith(f"records-before-{schema.HEAD}-")
    restore_as_it_was(copy, tmp_path / "again.sqlite")
    with sqlite3.connect(tmp_path / "again.sqlite") as connection:
        assert connection.execute("SELECT version_num FROM record_schema").fetchall() == [("0001",)]
    connection.close()
    restore(copy, tmp_path / "forward.sqlite")
    with Store(tmp_path / "forward.sqlite", create=False) as store:
        check_old_contents(store)


def test_a_migration_that_fails_changes_nothing(old_place, monkeypatch):
    def fail(connection, *_):
        real(connection)
        raise OSError(28, "No space left on device")

    real = schema.migrate
    with monkeypatch.context() as patch:
        patch.setattr(schema, "migrate", fail)
        with pytest.raises(RecordError, match="disk is full"):
            Store(old_place)
    database = connect(old_place)
    with database.reading() as session:
        assert schema.version_of(session.connection(), "") == "0001"
    database.close()
    with Store(old_place) as store:
        check_old_contents(store)


def test_migrations_make_the_tables_of_the_program(place):
    Store(place).close()
    database = connect(place)
    with database.reading() as session:
        options = {"version_table": schema.VERSION_TABLE, "compare_server_default": True}
        context = MigrationContext.configure(session.connection(), opts=options)
        assert compare_metadata(context, Base.metadata) == []
    database.close()


def test_the_first_migration_makes_the_first_form(tmp_path):
    def form(connection):
        query = "SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name"
        return [sql for (sql,) in connection.execute(query)]

    database = connect(tmp_path / "first.sqlite")
    with database.writing() as session:
        schema.migrate(session.connection(), "0001")
    database.close()
    dumped, made = sqlite3.connect(":memory:"), sqlite3.connect(tmp_path / "first.sqlite")
    dumped.executescript(OLD.read_text())
    assert form(dumped) == form(made)
    dumped.close()
    made.close()


def test_the_last_migration_is_the_known_one():
    assert ScriptDirectory.from_config(schema._config()).get_heads() == [schema.HEAD]
