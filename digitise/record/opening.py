"""Opening the records: made when new, migrated with a copy kept when old, refused when newer."""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from digitise.errors import RecordError
from digitise.files import put_new
from digitise.record.backup import write_backup
from digitise.record.database import PATIENCE_S, Database, connect
from digitise.record.engines.failures import damaged, translate_errors
from digitise.record.engines.postgres import may_change_form
from digitise.record.forget import clear_half_made
from digitise.record.migrations import schema
from digitise.unfinished import clear_unfinished, temporary_folder

_COPY = "before-{version}-{time:%Y%m%dT%H%M%S.%fZ}.zip"

_SMALLEST = 512
"""Bytes of the smallest page of a SQLite file."""
# the random part as Python's tempfile makes it
_HALF_MADE = re.compile(r"\.(backup|restore|export)-[a-z0-9_]{8}")


def open_records(
    place: str | Path | None = None, *, create: bool = True, patience_s: float = PATIENCE_S
) -> Database:
    """Open the records at ``place``, as :func:`digitise.record.database.connect` understands it.

    What killed programs left unfinished is removed.  Records are made where there is no file, or no table on
    a server.  Those of an older version are migrated forward after a copy was written beside them.

    Parameters
    ----------
    create
        False to refuse a place without records.

    Raises
    ------
    RecordError
        There are no records, they are damaged, of a newer version, or cannot be opened.
    """
    clear_unfinished()
    clear_half_made()
    database = connect(place, patience_s)
    try:
        if database.file:
            _ready_file(database, create)
        with database.reading() as session:
            version = schema.version_of(session.connection(), database.where)
        if version is None and not create:
            raise _nothing_here(database.where)
        if version != schema.HEAD:
            _bring_forward(database, version)
    except BaseException:
        database.close()
        raise
    return database


def has_records(place: str | Path | None = None) -> bool:
    """Tell whether there is a file of records at ``place``; of a server only opening it tells."""
    database = connect(place)
    try:
        return database.file is None or database.file.exists()
    finally:
        database.close()


def copies_of(database: Database) -> list[Path]:
    """Return the copies that were made before migrations of these records."""
    return sorted(_copies_folder(database).glob(f"{_copy_stem(database)}-before-*.zip"))


def left_by_earlier_versions(database: Database) -> list[Path]:
    """Return what killed programs of earlier versions left beside these records, half made."""
    return [path for path in _copies_folder(database).iterdir() if _is_half_made(path)]


def _is_half_made(path: Path) -> bool:
    """Tell by name and content: a folder that a person chose may hold files of others."""
    named = _HALF_MADE.fullmatch(path.name)
    if named is None or path.is_symlink():
        return False
    if named[1] != "backup":
        return path.is_dir() and (named[1] == "restore" or (path / "complete").is_dir())
    with path.open("rb") as file:
        return path.is_file() and b"rows/" in file.read(100)


def _bring_forward(database: Database, version: str | None) -> None:
    if version is not None:
        schema.refuse_unknown(version, database.where)
    if not database.file:
        _refuse_others_than_keeper(database, version)
    if version is not None:
        database.check()
        name = _COPY.format(version=schema.HEAD, time=datetime.now(UTC))
        earlier = sorted(_copies_folder(database).glob(f"{_copy_stem(database)}-before-{schema.HEAD}-*.zip"))
        write_backup(database, _copies_folder(database) / f"{_copy_stem(database)}-{name}")
        with translate_errors(database.where):
            # of migrations that were cut short: this copy holds all that they hold
            for copy in earlier:
                copy.unlink(missing_ok=True)
    with database.writing() as session:
        # another program may have done it while this one waited
        if schema.version_of(session.connection(), database.where) == version:
            schema.migrate(session.connection())


def _refuse_others_than_keeper(database: Database, version: str | None) -> None:
    """Refuse an account that may not change the tables, before all records are copied in vain."""
    with database.reading() as session:
        if may_change_form(session.connection()):
            return
    what = (
        "There are no records in this database yet"
        if version is None
        else f"These records are of an older form ({version}; this version needs {schema.HEAD})"
    )
    raise RecordError(
        f"{what}, and your account may not change that.",
        where=database.where,
        do="Ask the keeper of the records to open them once with this version.",
    )


def _ready_file(database: Database, create: bool) -> None:
    """Have a file of records, whole from its first moment; one that lost its content is not taken for new."""
    file = database.file
    assert file is not None
    with translate_errors(file.name):
        if not file.exists():
            if not create:
                raise _nothing_here(file.name)
            make_private_folder(file.parent)
            _make_file(file)
        elif file.stat().st_size < _SMALLEST:
            raise damaged(file.name)


def _make_file(file: Path) -> None:
    # a private folder, for SQLite puts files beside the database
    with temporary_folder(file.parent) as scratch:
        part = scratch / file.name
        # made here and not by SQLite, so that nobody else can ever read it
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        database = connect(part)
        try:
            with database.writing() as session:
                schema.migrate(session.connection())
        finally:
            database.close()
        put_new(part, file)


def make_private_folder(folder: Path) -> None:
    """Make a folder that only its owner can enter; one that exists stays as it is."""
    if not folder.is_dir():
        folder.mkdir(parents=True, mode=0o700, exist_ok=True)


def _copies_folder(database: Database) -> Path:
    if database.file:
        return database.file.parent
    folder = platformdirs.user_data_path("digitise", appauthor=False)
    make_private_folder(folder)
    return folder


def _copy_stem(database: Database) -> str:
    if database.file:
        return database.file.stem
    return f"{database.url.host or 'local'}-{database.url.database}"


def _nothing_here(where: str) -> RecordError:
    return RecordError(
        "There are no records here yet.", where=where, do="Store a visit first, or name the right place."
    )
