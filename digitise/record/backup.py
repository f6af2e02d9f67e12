"""Backup into one sealed file, and restoring it into an empty place, from and to either kind of database.

The tables are taken as the database has them, not as this program would make them, so that records of an
older form can be copied too; restoring makes tables of that form and then migrates them forward.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import zipfile
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ValidationError
from sqlalchemy import Connection, LargeBinary, MetaData, Table, func, insert, select, text
from sqlalchemy.exc import OperationalError, SQLAlchemyError

from digitise.errors import RecordError
from digitise.files import flush_folder
from digitise.record.checksummed_zip import cut_short, dated, new_sealed_zip, open_sealed_zip
from digitise.record.database import Database, connect
from digitise.record.engines.failures import damaged, translate_errors
from digitise.record.migrations import schema
from digitise.record.tables import Base
from digitise.unfinished import temporary_folder

_MANIFEST = "manifest.json"
_BATCH = 500
# a member that is encrypted, packed in an unknown way or cut, a number that no table takes, text that is none
_NO_BACKUP = (
    ValueError,
    KeyError,
    TypeError,
    ArithmeticError,
    RuntimeError,
    EOFError,
    zipfile.BadZipFile,
    zlib.error,
    SQLAlchemyError,
)
_LARGEST_PIECE = 256 * 2**20
"""Bytes of one photograph or limb; ours are far smaller."""
_WITH_DIGEST = ("fields", "photographs", "models")


class _Manifest(BaseModel):
    """What a backup says of itself.

    Attributes
    ----------
    form
        Version of the tables.
    made
        When, ISO 8601 UTC.
    rows
        How many there are, by table.
    """

    format: Literal["record-backup/1"] = "record-backup/1"
    form: str
    made: str
    rows: dict[str, int]


def write_backup(database: Database, path: Path) -> None:
    """Write all records, at one moment, into the file ``path``; it is read back before it gets its name.

    Raises
    ------
    RecordError
        The records are damaged, a file of this name exists, or the disk is full.
    """
    database.check()
    with database.reading() as session, new_sealed_zip(path) as archive:
        connection = session.connection()
        version = schema.version_of(connection, database.where)
        if version is None:
            raise damaged(database.where)
        rows = {}
        for table in _tables(connection).sorted_tables:
            rows[table.name] = _write_rows(connection, table, archive, database.where)
            _write_bytes(connection, table, archive, database.where)
        made = f"{datetime.now(UTC):%Y-%m-%dT%H:%M:%SZ}"
        archive.writestr(dated(_MANIFEST), _Manifest(form=version, made=made, rows=rows).model_dump_json())


def restore(path: Path, into: str | Path | None = None) -> dict[str, int]:
    """Make records from a backup, whole or not at all, and return how many rows each table has.

    Records without visits, such as opening them makes, are no obstacle: they give way to the backup's.

    Parameters
    ----------
    path
        The backup.
    into
        An address, a file, or None for the default place.  It must hold no visit.

    Raises
    ------
    RecordError
        The backup is cut short, changed or of another format, or the place is not empty.
    """
    target = connect(into)
    try:
        with open_sealed_zip(path, path.name) as archive:
            manifest = _read_manifest(archive, path.name)
            if target.file and not target.file.exists():
                _restore_file(target.file, archive, manifest, path.name)
            else:
                _fill(target, archive, manifest, path.name)
    finally:
        target.close()
    return manifest.rows


def _tables(connection: Connection) -> MetaData:
    metadata = MetaData()
    metadata.reflect(connection, only=lambda name, _: name in Base.metadata.tables)
    return metadata


def _byte_columns(table: Table) -> list[str]:
    return [column.name for column in table.columns if isinstance(column.type, LargeBinary)]


def _rows_member(table: Table) -> str:
    return f"rows/{table.name}.jsonl"


def _bytes_member(table: Table, column: str, key: object) -> str:
    return f"bytes/{table.name}/{column}/{key}"


def _write_rows(connection: Connection, table: Table, archive: zipfile.ZipFile, where: str) -> int:
    kept = [column for column in table.columns if column.name not in _byte_columns(table)]
    count = 0
    with archive.open(dated(_rows_member(table)), "w", force_zip64=True) as member:
        for row in connection.execute(select(*kept).execution_options(yield_per=_BATCH)).mappings():
            if table.name == "fields" and not _is_sound(table.name, dict(row)):
                raise damaged(where)
            member.write(json.dumps(dict(row)).encode() + b"\n")
            count += 1
    return count


def _write_bytes(connection: Connection, table: Table, archive: zipfile.ZipFile, where: str) -> None:
    columns = _byte_columns(table)
    if not columns:
        return
    (key,) = table.primary_key.columns
    for wanted in connection.scalars(select(key).order_by(key)).all():
        row = connection.execute(select(table).where(key == wanted)).mappings().one()
        if not _is_sound(table.name, dict(row)):
            raise damaged(where)
        for column in columns:
            # photographs and arrays are packed already
            archive.writestr(dated(_bytes_member(table, column, wanted), zipfile.ZIP_STORED), row[column])


def _is_sound(table: str, row: dict[str, Any]) -> bool:
    """Tell whether the bytes of a row with a digest are those of the digest."""
    if table == "fields":
        return hashlib.sha256(row["field_json"].encode()).hexdigest() == str(row["sha256"])
    parts = [row["jpeg"]] if table == "photographs" else [row["model_json"].encode(), row["limb_npz"]]
    return hashlib.sha256(b"".join(parts)).hexdigest() == str(row["sha256"])


def _read_manifest(archive: zipfile.ZipFile, where: str) -> _Manifest:
    try:
        manifest = _Manifest.model_validate_json(archive.read(_MANIFEST))
    except (RuntimeError, EOFError, KeyError, zipfile.BadZipFile, zlib.error) as error:
        raise cut_short(where) from error
    except ValidationError as error:
        raise RecordError(
            "The backup is of another format than record-backup/1.",
            where=where,
            do="Restore it with the version of the program that wrote it.",
        ) from error
    schema.refuse_unknown(manifest.form, where)
    return manifest


def _restore_file(file: Path, archive: zipfile.ZipFile, manifest: _Manifest, where: str) -> None:
    with translate_errors(file.name):
        if file.exists():
            raise _not_empty(file.name)
        file.parent.mkdir(parents=True, mode=0o700, exist_ok=True)
        # a private folder, for SQLite puts files beside the database
        with temporary_folder(file.parent) as scratch:
            part = scratch / file.name
            os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
            target = connect(part)
            try:
                _fill(target, archive, manifest, where)
                target.check()
            finally:
                target.close()
            if file.exists():
                raise _not_empty(file.name)
            part.replace(file)
            flush_folder(file.parent)


def _fill(target: Database, archive: zipfile.ZipFile, manifest: _Manifest, where: str) -> None:
    with target.writing() as session:
        connection = session.connection()
        if schema.version_of(connection, target.where) is not None:
            _clear(connection, target.where)
        schema.migrate(connection, manifest.form)
        try:
            counts = {
                table.name: _fill_table(connection, table, archive)
                for table in _tables(connection).sorted_tables
            }
        except OperationalError:  # a full disk, a lock: not the backup's fault
            raise
        except _NO_BACKUP as error:
            raise cut_short(where) from error
        if counts != manifest.rows:
            raise cut_short(where)
        if manifest.form != schema.HEAD:
            schema.migrate(connection)


def _clear(connection: Connection, where: str) -> None:
    """Drop the tables of records without visits, within the transaction that fills them again."""
    tables = _tables(connection)
    visits = tables.tables.get("visits")
    if visits is None or connection.scalar(select(func.count()).select_from(visits)):
        raise _not_empty(where)
    tables.drop_all(connection)
    Table(schema.VERSION_TABLE, MetaData()).drop(connection)


def _fill_table(connection: Connection, table: Table, archive: zipfile.ZipFile) -> int:
    rows = _read_rows(table, archive)
    at_once = 1 if _byte_columns(table) else _BATCH  # so that memory stays flat
    count = 0
    while batch := list(islice(rows, at_once)):
        connection.execute(insert(table), batch)
        count += len(batch)
    if connection.dialect.name == "postgresql" and "id" in table.columns:
        highest = connection.scalar(select(func.max(table.c.id)))
        if highest is not None:
            connection.execute(
                text("SELECT setval(pg_get_serial_sequence(:name, 'id'), :highest)"),
                {"name": table.name, "highest": highest},
            )
    return count


def _read_rows(table: Table, archive: zipfile.ZipFile) -> Iterator[dict[str, Any]]:
    columns = _byte_columns(table)
    with archive.open(_rows_member(table)) as member:
        for line in io.TextIOWrapper(member, "utf-8"):
            row: dict[str, Any] = json.loads(line)
            for column in columns:
                (key,) = table.primary_key.columns
                name = _bytes_member(table, column, row[key.name])
                if archive.getinfo(name).file_size > _LARGEST_PIECE:
                    raise ValueError("too large")
                row[column] = archive.read(name)
            if table.name in _WITH_DIGEST and not _is_sound(table.name, row):
                raise ValueError("bytes do not match their digest")
            yield row


def _not_empty(where: str) -> RecordError:
    return RecordError(
        "There are records in this place already.",
        where=where,
        do="Restore into a new place; nothing was changed.",
    )
