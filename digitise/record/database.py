"""One opened database: transactions on SQLite and PostgreSQL alike, failures in plain words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError
from sqlalchemy.orm import Session

from digitise.errors import RecordError

FILE_NAME = "records.sqlite"
PATIENCE_S = 10.0
"""How long to wait for another writer."""
_WRITERS = 0x64696769
"""Key of the PostgreSQL advisory lock that lets one writer in at a time, as SQLite does."""
_PRAGMAS = ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON")
_DAMAGED = ("The records are damaged or not of this program.", "Restore the last backup into a new place.")
_FULL = ("The disk is full; nothing was stored.", "Make room, then give the command again.")
_LOCKED = ("Another program is busy with the records.", "Close it, or try again in a minute.")
_READ_ONLY = ("The records cannot be written.", "Check the rights on the file and its folder.")
_NO_OPENING = ("The records cannot be opened.", "Check the place, its name and your rights.")
_NO_ADDRESS = (
    "The address of the database server holds something that is not understood.",
    "Check its options: postgresql://user@server/database is enough.",
)
_NO_SERVER = ("The database server cannot be reached.", "Check its address, your rights, and that it runs.")
_SQLITE = {
    sqlite3.SQLITE_FULL: _FULL,
    sqlite3.SQLITE_BUSY: _LOCKED,
    sqlite3.SQLITE_LOCKED: _LOCKED,
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _NO_OPENING,
    sqlite3.SQLITE_IOERR: ("The disk cannot be read or written.", "Check the disk; restore the last backup."),
    sqlite3.SQLITE_CORRUPT: _DAMAGED,
    sqlite3.SQLITE_NOTADB: _DAMAGED,
    sqlite3.SQLITE_ERROR: _DAMAGED,
}
_POSTGRES = {"53100": _FULL, "55P03": _LOCKED, "25006": _READ_ONLY, "42501": _READ_ONLY, "XX001": _DAMAGED}


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
            Another writer does not finish, the disk is full, or the records cannot be written.
        """
        with (
            translate_errors(self.where),
            self.engine.connect() as connection,
            Session(connection.execution_options(one_writer=True)) as session,
            session.begin(),
        ):
            yield session

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
            raise RecordError(_LOCKED[0], where=self.where, do=_LOCKED[1])

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
    try:
        engine = _read_only_engine(url) if _is_read_only(url) else create_engine(url)
    except ModuleNotFoundError as error:
        raise RecordError(
            "The driver for PostgreSQL is not installed.",
            do="Run: pip install 'limb-shape-digitiser[postgres]'",
        ) from error
    if url.get_backend_name() == "sqlite":
        _set_up_sqlite(engine, patience_s, _is_read_only(url))
    else:
        _set_up_postgres(engine, patience_s)
    return Database(url, engine)


def damaged(where: str) -> RecordError:
    """Return the error of damaged records."""
    return RecordError(_DAMAGED[0], where=where, do=_DAMAGED[1])


@contextmanager
def translate_errors(where: str) -> Iterator[None]:
    """Turn what a database or disk reports into an error for people.

    Raises
    ------
    RecordError
        The disk is full, the records are locked, damaged, out of reach or not writable.
    """
    try:
        yield
    except DBAPIError as error:
        raise _plain(error.orig, where, error) from error
    except (sqlite3.Error, OSError) as error:
        raise _plain(error, where, error) from error


def _plain(cause: BaseException | None, where: str, otherwise: BaseException) -> BaseException:
    words: tuple[str, str] | None = None
    if isinstance(cause, OSError):
        words = _FULL if cause.errno == 28 else (f"The disk refuses ({cause.strerror}).", _NO_OPENING[1])
    elif isinstance(cause, sqlite3.Error):
        code = getattr(cause, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF  # without the extension
        words = _SQLITE.get(code)
    else:
        state = getattr(cause, "sqlstate", None)
        unreachable = type(cause).__name__ == "OperationalError" and (state or "08").startswith(
            ("08", "57", "3D", "28")
        )
        words = _NO_SERVER if unreachable else _POSTGRES.get(state or "")
        if words is None and state is None and type(cause).__name__ == "ProgrammingError":
            words = _NO_ADDRESS  # the driver does not know an option
    return RecordError(words[0], where=where, do=words[1]) if words else otherwise


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


def _is_read_only(url: URL) -> bool:
    """Tell whether records are on a disk, or in a folder, where nothing can be written."""
    if url.get_backend_name() != "sqlite":
        return False
    file = Path(url.database or "")
    try:
        return file.is_file() and not (os.access(file, os.W_OK) and os.access(file.parent, os.W_OK))
    except OSError:
        return False


def _read_only_engine(url: URL) -> Engine:
    """Return an engine that opens a file as one that nobody can change: without a log and an index beside it.

    Raises
    ------
    RecordError
        A log of changes stands beside the file, which only a program that may write could bring in.
    """
    file = Path(url.database or "")
    log = file.with_name(f"{file.name}-wal")
    if log.exists() and log.stat().st_size:
        raise RecordError(
            "The records were not closed before they were put where nothing can be written.",
            where=file.name,
            do=f"Copy {file.name} and {log.name} together into a folder of this computer, and name that.",
        )
    address = f"{file.absolute().as_uri()}?mode=ro&immutable=1"
    return create_engine(
        "sqlite://", creator=lambda: sqlite3.connect(address, uri=True, check_same_thread=False)
    )


def _set_up_sqlite(engine: Engine, patience_s: float, read_only: bool) -> None:
    @event.listens_for(engine, "connect")
    def set_pragmas(connection: sqlite3.Connection, _: object) -> None:
        connection.isolation_level = None  # transactions are begun below, by name
        connection.execute(f"PRAGMA busy_timeout={patience_s * 1000:.0f}")
        if read_only:
            return
        (mode,) = connection.execute("PRAGMA journal_mode=WAL").fetchone()
        if mode != "wal":
            raise RecordError(
                "This disk cannot hold the records safely.",
                do="Choose a folder on a disk of this computer, or a PostgreSQL server.",
            )
        for pragma in _PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # a writer takes the lock at once: a reader turned writer could only fail
        writes = connection.get_execution_options().get("one_writer")
        if writes and read_only:
            raise RecordError(_READ_ONLY[0], do=_READ_ONLY[1])
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _set_up_postgres(engine: Engine, patience_s: float) -> None:
    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        options = connection.get_execution_options()
        if options.get("isolation_level") == "AUTOCOMMIT":
            return
        connection.exec_driver_sql(f"SET LOCAL lock_timeout = {patience_s * 1000:.0f}")
        if options.get("one_writer"):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_WRITERS})")
