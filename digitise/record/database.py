"""One opened database: transactions on SQLite and PostgreSQL alike, failures in plain words."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import URL, Engine, inspect, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.orm import Session

from digitise.errors import RecordError
from digitise.record.engines.failures import LOCKED, damaged, translate_errors
from digitise.record.engines.postgres import postgres_engine
from digitise.record.engines.sqlite import sqlite_engine

FILE_NAME = "records.sqlite"
PATIENCE_S = 10.0
"""How long to wait for another writer."""


@dataclass(frozen=True)
class Database:
    """An address and the engine on it."""

    url: URL
    engine: Engine

    @property
    def where(self) -> str:
        """Return the place for messages: a file name, or a server without its password."""
        return self.file.name if self.file else self.url.render_as_string(hide_password=True)

    @property
    def file(self) -> Path | None:
        """Return the SQLite file, None for a server."""
        return Path(self.url.database or "") if self.url.get_backend_name() == "sqlite" else None

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a transaction that sees one state of the records, whatever others write meanwhile.

        Raises
        ------
        RecordError
            The records cannot be read.
        """
        options = {} if self.file else {"isolation_level": "REPEATABLE READ"}
        with (
            translate_errors(self.where),
            self.engine.connect() as connection,
            Session(connection.execution_options(**options)) as session,
        ):
            yield session

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Open a transaction of the one writer; it is kept whole on leaving, or not at all on an error.

        Raises
        ------
        RecordError
            Another writer does not finish, the disk is full, the connection is lost, or the records cannot be
            written.
        """
        with (
            translate_errors(self.where),
            self.engine.connect() as connection,
            Session(connection.execution_options(one_writer=True)) as session,
        ):
            yield session
            session.flush()
            # up to here a lost connection has stored nothing
            with translate_errors(self.where, ending=True):
                session.commit()

    def wipe(self) -> None:
        """Rewrite the database without the space that deleted rows took, so that their bytes are gone.

        Raises
        ------
        RecordError
            Another program holds the database open for reading or writing.
        """
        with translate_errors(self.where):
            if self.file:
                self._wipe_file()
            else:
                self._wipe_server()

    def _wipe_file(self) -> None:
        with self.engine.connect() as connection:
            raw: Any = connection.connection.driver_connection
            raw.execute("VACUUM")
            busy, *_ = raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            (spare,) = raw.execute("PRAGMA freelist_count").fetchone()
        if busy or spare:
            raise RecordError(LOCKED[0], where=self.where, do=LOCKED[1])

    def _wipe_server(self) -> None:
        with self.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql(f"SET lock_timeout = {PATIENCE_S * 1000:.0f}")
            for table in inspect(connection).get_table_names():
                connection.exec_driver_sql(f"VACUUM FULL {table}")
            connection.exec_driver_sql("RESET lock_timeout")

    def check(self) -> None:
        """Have the whole SQLite file checked; a server checks its own.

        Raises
        ------
        RecordError
            The file is damaged.
        """
        if not self.file:
            return
        with self.reading() as session:
            answer = session.connection().exec_driver_sql("PRAGMA integrity_check(1)").scalar()
            strays = session.connection().exec_driver_sql("PRAGMA foreign_key_check").first()
        if answer != "ok" or strays is not None:
            raise damaged(self.where)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def connect(place: str | Path | None = None, patience_s: float = PATIENCE_S) -> Database:
    """Return the database at an address, a file, or the default place; nothing is opened yet.

    Parameters
    ----------
    place
        ``postgresql://...``, ``sqlite:///...`` or a file.  None for the environment variable
        ``DIGITISE_RECORDS``, or else a file in the user's data folder.
    patience_s
        How long to wait for another writer.

    Raises
    ------
    RecordError
        The address is of no kind that can be used.
    """
    url = _url(place)
    make = sqlite_engine if url.get_backend_name() == "sqlite" else postgres_engine
    return Database(url, make(url, patience_s))


def _url(place: str | Path | None) -> URL:
    place = place or os.environ.get("DIGITISE_RECORDS") or ""
    if not place:
        return _file_url(platformdirs.user_data_path("digitise", appauthor=False) / FILE_NAME)
    if "://" not in str(place):
        return _file_url(Path(place))
    try:
        url = make_url(str(place))
    except (ArgumentError, ValueError) as error:
        raise _unknown_address() from error
    if url.drivername in ("postgresql", "postgres", "postgresql+psycopg"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername == "sqlite" and url.database not in (None, "", ":memory:"):
        return _file_url(Path(str(url.database)))
    raise _unknown_address()


def _file_url(path: Path) -> URL:
    return URL.create("sqlite", database=str(path.expanduser().absolute()))


def _unknown_address() -> RecordError:
    return RecordError(
        "This is no address of records.",
        where="records",
        do="Give a file, or an address like postgresql://user@server/database.",
    )
