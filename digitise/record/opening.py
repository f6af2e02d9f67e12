"""Opening the records: made when new, migrated with a copy kept when old, refused when newer."""

from __future__ import annotations

import os
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import platformdirs

from digitise.errors import RecordError
from digitise.record.backup import write_backup
from digitise.record.database import PATIENCE_S, Database, connect, translate_errors
from digitise.record.migrations import schema

_COPY = "before-{version}-{time:%Y%m%dT%H%M%S.%fZ}.zip"


def open_records(
    place: str | Path | None = None, *, create: bool = True, patience_s: float = PATIENCE_S
) -> Database:
    """Open the records at ``place``, as :func:`digitise.record.database.connect` understands it.

    An empty place is made ready.  Records of an older version are migrated forward after a copy was
    written beside them.

    Parameters
    ----------
    create
        False to refuse a place without records.

    Raises
    ------
    RecordError
        There are no records, they are damaged, of a newer version, or cannot be opened.
    """
    database = connect(place, patience_s)
    try:
        if database.file:
            _ready_file(database.file, create)
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


def copies_of(database: Database) -> list[Path]:
    """Return the copies that were made before migrations of these records."""
    return sorted(_copies_folder(database).glob(f"{_copy_stem(database)}-before-*.zip"))


def _bring_forward(database: Database, version: str | None) -> None:
    if version is not None:
        schema.refuse_unknown(version, database.where)
        database.check()
        name = _COPY.format(version=schema.HEAD, time=datetime.now(UTC))
        write_backup(database, _copies_folder(database) / f"{_copy_stem(database)}-{name}")
    with database.writing() as session:
        # another program may have done it while this one waited
        if schema.version_of(session.connection(), database.where) == version:
            schema.migrate(session.connection())


def _ready_file(file: Path, create: bool) -> None:
    if not file.exists() and not create:
        raise _nothing_here(file.name)
    with translate_errors(file.name):
        make_private_folder(file.parent)
        with suppress(FileExistsError):
            # made here and not by SQLite, so that nobody else can ever read it
            os.close(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


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
