"""A group of clinics on one PostgreSQL server, set up with the SQL of the documents."""

import re
import uuid
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import psycopg
import pytest
from sqlalchemy import event

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.errors import RecordError
from digitise.record import saving
from digitise.record.backup import restore, write_backup
from digitise.record.database import connect
from digitise.record.migrations import schema
from digitise.record.store import Store

from .conftest import SERVER, a_visit, command, limb_model
from .test_migrations import old_file, restore_as_it_was  # noqa: F401  # a fixture

DOCS = Path(__file__).parents[2] / "docs/group"
TABLES = (
    "clients", "limbs", "fields", "visits", "tape_rows", "photographs", "visit_photographs", "models",
    "corrections", "client_conditions", "arterial_checks", "history", "place_girths", "plans",
    "record_schema",
)  # fmt: skip


@dataclass(frozen=True)
class Clinic:
    """A clinic's word and how its persons reach its records."""

    name: str

    def address(self, person: str) -> str:
        return f"{SERVER.replace('//digitise@', f'//{self.name}_{person}@').rsplit('/', 1)[0]}/{self.name}"

    def rights(self) -> None:
        """Run rights.sql as the keeper."""
        command(self.address("kim"), self.sql("rights.sql"))

    def sql(self, name: str) -> str:
        text = re.sub(r"--.*", "", (DOCS / name).read_text(encoding="utf-8")).replace("north", self.name)
        return re.sub(r"\b(kim|anna|ravi)\b", lambda who: f"{self.name}_{who[1]}", text)


def set_up(name: str) -> Clinic:
    clinic = Clinic(name)
    on_server, in_database = clinic.sql("roles.sql").split(f"\\connect {name}")
    # a database is made outside any transaction, so one by one
    for statement in filter(str.strip, on_server.split(";")):
        command(SERVER, statement)
    command(f"{SERVER.rsplit('/', 1)[0]}/{name}", in_database)
    command(SERVER, clinic.sql("persons.sql"))
    return clinic


def take_down(clinic: Clinic) -> None:
    command(SERVER, f"DROP DATABASE IF EXISTS {clinic.name} WITH (FORCE)")
    with psycopg.connect(SERVER, autocommit=True) as connection:
        roles = connection.execute("SELECT rolname FROM pg_roles WHERE rolname LIKE %s", (f"{clinic.name}%",))
        for (role,) in roles.fetchall():
            connection.execute(f"DROP ROLE {role}")


@pytest.fixture
def new_clinic(tmp_path, monkeypatch):
    """Return a function that sets a clinic up as the documents say, without records yet."""
    if not SERVER:
        pytest.skip("no PostgreSQL server: DIGITISE_TEST_POSTGRES is not set")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    made = []

    def make() -> Clinic:
        made.append(set_up(f"c{uuid.uuid4().hex[:10]}"))
        return made[-1]

    yield make
    for clinic in made:
        take_down(clinic)


@pytest.fixture
def clinic(new_clinic):
    """A clinic whose keeper has opened the records."""
    found = new_clinic()
    Store(found.address("kim")).close()
    found.rights()
    return found


# ---- who may do what -----------------------------------------------------------------------------


def answers_of(value):
    """What is asked once of a client."""
    day = date(2026, 3, 2)
    checks = (ArterialCheck("ankle-brachial", value, day, "left"),)
    return SafetyAnswers(conditions=(("bypass", False),), conditions_asked=day, arterial=checks)


def test_a_therapist_stores_and_changes_visits_and_a_reader_sees_them(clinic, full_visit):
    with Store(clinic.address("anna")) as store:
        number = store.add_visit(full_visit)
        # the other leg, without photographs: limb, photographs, field and corrections of before go
        store.replace_visit(number, a_visit(side="right", note="changed"))
        assert store.load_visit(number).note == "changed"
        store.replace_visit(number, full_visit)
        for value in (0.9, 1.0):
            store.save_safety("K-017", answers_of(value))
    with Store(clinic.address("ravi"), create=False) as store:
        assert store.safety("K-017").arterial == answers_of(1.0).arterial
        assert [line.side for line in store.list_visits()] == ["left"]
        assert store.photo(number, 1).startswith(b"\xff\xd8")
        assert [visit.id for visit in store.coded_visits()] == [number]
        assert store.model(number).json


def test_a_reader_changes_nothing(clinic):
    with Store(clinic.address("anna")) as store:
        number = store.add_visit(a_visit())
    with Store(clinic.address("ravi")) as store:
        for act in (
            lambda: store.add_visit(a_visit()),
            lambda: store.replace_visit(number, a_visit(note="x")),
            lambda: store.save_safety("K-017", answers_of(1.0)),
            lambda: store.forget("K-017"),
        ):
            with pytest.raises(RecordError, match="does not let this account do that; nothing was changed"):
                act()
        assert len(store.list_visits()) == 1


def test_only_the_keeper_forgets(clinic, full_visit):
    with Store(clinic.address("anna")) as store:
        store.add_visit(full_visit)
        with pytest.raises(RecordError, match="Ask the keeper"):
            store.forget("K-017")
        assert len(store.list_visits("K-017")) == 1
    with Store(clinic.address("kim")) as store:
        assert store.forget("K-017").visits == 1


def rights_of(clinic: Clinic, person: str) -> dict[str, set[str]]:
    """What a person may do with each table, as the server says."""
    words = ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "TRIGGER", "REFERENCES")
    with psycopg.connect(clinic.address(person)) as connection:
        return {
            table: {
                word
                for word in words
                if connection.execute("SELECT has_table_privilege(%s, %s)", (table, word)).fetchone()[0]
            }
            for table in TABLES
        }


def test_rights_are_the_least_that_do(clinic):
    assert all(found == {"SELECT"} for found in rights_of(clinic, "ravi").values())
    found = rights_of(clinic, "anna")
    parts = {"SELECT", "INSERT", "DELETE"}
    expected = dict.fromkeys(TABLES, parts) | {
        "clients": {"SELECT", "INSERT"},
        "visits": {"SELECT", "INSERT", "UPDATE"},
        "history": {"SELECT", "INSERT"},
        "record_schema": {"SELECT"},
    }
    assert found == expected
    for person in ("anna", "ravi"):
        for words in ("CREATE TABLE own (n int)", "ALTER TABLE visits ADD COLUMN n int", "DROP TABLE models"):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                command(clinic.address(person), words)


@pytest.mark.parametrize("table", ["limbs", "photographs"])
def test_a_therapist_removes_no_visit_by_what_it_hangs_on(clinic, full_visit, table):
    with Store(clinic.address("anna")) as store:
        number = store.add_visit(full_visit)
        before = store.load_visit(number)
        with psycopg.connect(clinic.address("anna"), autocommit=True) as connection:
            assert connection.execute(f"DELETE FROM {table}").rowcount == 0
        assert store.load_visit(number) == before


def test_every_table_of_the_program_has_its_rights(clinic):
    with psycopg.connect(clinic.address("kim")) as connection:
        names = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public'").fetchall()
    assert {name for (name,) in names} == set(TABLES)


# ---- the form of the tables ----------------------------------------------------------------------


def test_records_are_made_by_the_keeper_only(new_clinic):
    clinic = new_clinic()
    with pytest.raises(RecordError) as refused:
        Store(clinic.address("anna"))
    assert refused.value.what == (
        "There are no records in this database yet, and your account may not change that."
    )
    assert "keeper" in refused.value.do


def test_older_records_are_brought_forward_by_the_keeper_only(new_clinic, old_file, tmp_path):  # noqa: F811
    clinic = new_clinic()
    old = connect(old_file)
    write_backup(old, tmp_path / "old.zip")
    old.close()
    restore_as_it_was(tmp_path / "old.zip", clinic.address("kim"))
    # rights on the tables of that form, as the keeper had given them then
    command(clinic.address("kim"), f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {clinic.name}_therapist")
    with pytest.raises(RecordError) as refused:
        Store(clinic.address("anna"))
    assert refused.value.what == (
        f"These records are of an older form (0001; this version needs {schema.HEAD}), "
        "and your account may not change that."
    )
    # no copy of all records was made on the therapist's computer
    assert list((tmp_path / "data").rglob("*.zip")) == []
    with Store(clinic.address("kim")) as store:
        assert [client.code for client in store.list_clients()] == ["B-2", "K-017"]
    assert len(list((tmp_path / "data").rglob("*.zip"))) == 1
    clinic.rights()
    with Store(clinic.address("anna")) as store:
        assert store.add_visit(a_visit()) == 6


def test_a_second_keeper_may_do_what_the_first_made(clinic, tmp_path):
    second = f"{clinic.name}_lee"
    command(SERVER, f"CREATE ROLE {second} LOGIN; GRANT {clinic.name}_keeper TO {second}")
    command(SERVER, f"ALTER ROLE {second} IN DATABASE {clinic.name} SET role = '{clinic.name}_keeper'")
    with Store(clinic.address("anna")) as store:
        store.add_visit(a_visit())
    with Store(clinic.address("lee")) as store:
        store.backup(tmp_path / "all.zip")
        assert store.forget("K-017").visits == 1
    restore(tmp_path / "all.zip", tmp_path / "again.sqlite")


# ---- two clinics ---------------------------------------------------------------------------------


def test_two_clinics_with_the_same_code_stay_apart(new_clinic):
    both = [new_clinic(), new_clinic()]
    for number, clinic in enumerate(both):
        Store(clinic.address("kim")).close()
        clinic.rights()
        with Store(clinic.address("anna")) as store:
            for _ in range(number + 1):
                store.add_visit(a_visit(note=f"clinic {number}"))
    for number, clinic in enumerate(both):
        with Store(clinic.address("ravi")) as store:
            notes = [store.load_visit(line.id).note for line in store.list_visits("K-017")]
        assert notes == [f"clinic {number}"] * (number + 1)
    # nobody of one clinic gets into the other's records, whatever the role
    first, second = both
    for person in ("anna", "ravi", "kim"):
        wrong = f"{first.address(person).rsplit('/', 1)[0]}/{second.name}"
        with pytest.raises(RecordError, match="cannot be reached"):
            Store(wrong)
    with Store(first.address("kim")) as store:
        store.forget("K-017")
    with Store(second.address("ravi")) as store:
        assert len(store.list_visits("K-017")) == 2


# ---- a connection that is lost -------------------------------------------------------------------


def cut(clinic: Clinic) -> None:
    """Have the server end all connections to the clinic's database."""
    command(SERVER, f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = '{clinic.name}'")


def cut_before(clinic, function):
    def instead(*arguments, **named):
        cut(clinic)
        return function(*arguments, **named)

    return instead


@pytest.mark.parametrize("step", ["_limb", "_keep_photographs", "_keep_field", "_add_parts"])
def test_a_save_whose_connection_is_lost_stores_nothing(clinic, full_visit, monkeypatch, step):
    with Store(clinic.address("anna")) as store:
        store.add_visit(a_visit())
        before = store.list_visits()
        with monkeypatch.context() as patch:
            patch.setattr(saving, step, cut_before(clinic, getattr(saving, step)))
            with pytest.raises(RecordError, match="was lost; nothing was stored") as refused:
                store.add_visit(full_visit)
            with pytest.raises(RecordError, match="was lost; nothing was stored"):
                store.replace_visit(before[0].id, a_visit(note="other", model=limb_model()))
        assert refused.value.do == "Check that the server runs, then do it again."
        # the same store goes on, and holds what it held
        assert store.list_visits() == before
        assert store.load_visit(before[0].id).note == ""
        store.add_visit(full_visit)
        assert len(store.list_visits()) == 2
    with psycopg.connect(clinic.address("kim")) as connection:
        counts = [connection.execute(f"SELECT count(*) FROM {name}").fetchone()[0] for name in TABLES[:9]]
    assert counts == [1, 1, 1, 2, 6, 2, 2, 1, 1]


@pytest.mark.parametrize("stored", [False, True])
def test_a_connection_lost_while_a_save_ends_is_told_as_unknown(clinic, monkeypatch, stored):
    with Store(clinic.address("anna")) as store:
        dialect = store._database.engine.dialect

        def commit(connection):
            if stored:
                connection.commit()
            cut(clinic)
            # the server's answer, which does not arrive
            connection.execute("SELECT 1")

        with monkeypatch.context() as patch:
            patch.setattr(dialect, "do_commit", commit)
            with pytest.raises(RecordError, match="whether it was stored is not known") as refused:
                store.add_visit(a_visit())
        assert "Look at the list" in refused.value.do
        assert len(store.list_visits()) == int(stored)


def test_a_connection_lost_between_two_saves_is_no_trouble(clinic):
    with Store(clinic.address("anna")) as store:
        store.add_visit(a_visit())
        cut(clinic)
        store.add_visit(a_visit())
        cut(clinic)
        assert len(store.list_visits()) == 2


def test_a_connection_lost_while_reading_is_told(clinic):
    with Store(clinic.address("anna")) as store:
        for _ in range(3):
            store.add_visit(a_visit())
        visits = store.coded_visits()
        engine = store._database.engine
        event.listen(engine, "before_cursor_execute", lambda *_: cut(clinic), once=True)
        with pytest.raises(RecordError, match="connection to the database server was lost"):
            list(visits)
        assert len(store.list_visits()) == 3


def test_a_network_that_is_cut_is_noticed_within_half_a_minute(clinic):
    database = connect(clinic.address("anna"))
    with database.engine.connect() as connection:
        said = connection.connection.driver_connection.info.get_parameters()
    database.close()
    assert {name: said[name] for name in ("connect_timeout", "keepalives_idle", "tcp_user_timeout")} == {
        "connect_timeout": "10",
        "keepalives_idle": "10",
        "tcp_user_timeout": "30000",
    }
    # what the address says goes before
    database = connect(clinic.address("anna") + "?connect_timeout=3")
    with database.engine.connect() as connection:
        said = connection.connection.driver_connection.info.get_parameters()
    database.close()
    assert said["connect_timeout"] == "3"
