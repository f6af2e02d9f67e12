"""A file of records: how SQLite is set up, also where nothing can be written."""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path

from sqlalchemy import URL, Connection, Engine, create_engine, event

from digitise.errors import RecordError
from digitise.record.engines.failures import READ_ONLY

_PRAGMAS = ("foreign_keys=ON", "synchronous=FULL", "secure_delete=ON")


def sqlite_engine(url: URL, patience_s: float) -> Engine:
    """Return the engine on a file; nothing is opened yet.

    Raises
    ------
    RecordError
        The file is where nothing can be written, and was not closed before.
    """
    read_only = _is_read_only(url)
    engine = _read_only_engine(url) if read_only else create_engine(url)
    _set_up(engine, patience_s, read_only)
    return engine


def _is_read_only(url: URL) -> bool:
    """Tell whether records are on a disk, or in a folder, where nothing can be written."""
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


def _set_up(engine: Engine, patience_s: float, read_only: bool) -> None:
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
            raise RecordError(READ_ONLY[0], do=READ_ONLY[1])
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")
