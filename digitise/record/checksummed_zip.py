"""A zip file whose last 64 bytes tell the SHA-256 of all before them: a changed bit anywhere is found."""

from __future__ import annotations

import hashlib
import os
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from digitise.errors import RecordError
from digitise.files import flush_folder
from digitise.record.engines.failures import translate_errors
from digitise.unfinished import temporary_folder

_SEAL = 64
_CHUNK = 2**20


@contextmanager
def new_sealed_zip(path: Path) -> Iterator[zipfile.ZipFile]:
    """Write a sealed zip file that appears under its name when it is complete and was read back, else never.

    Only its owner can read it.

    Raises
    ------
    RecordError
        A file of this name exists, the disk is full, or what was written is not what is read.
    """
    with translate_errors(path.name):
        _refuse_existing(path)
        with temporary_folder(path.parent) as folder:
            scratch = folder / "backup.zip"
            handle = os.open(scratch, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
            with os.fdopen(handle, "w+b") as file:
                with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                    archive.comment = b"0" * _SEAL
                    yield archive
                _seal(file)
            _read_back(scratch, path.name)
            _refuse_existing(path)
            scratch.replace(path)
            flush_folder(path.parent)


@contextmanager
def open_sealed_zip(path: Path, where: str) -> Iterator[zipfile.ZipFile]:
    """Open a sealed zip file for reading after checking all of it.

    Raises
    ------
    RecordError
        The file cannot be opened, is cut short, or changed.
    """
    with translate_errors(where), path.open("rb") as file:
        size = file.seek(0, os.SEEK_END) - _SEAL
        if size <= 0 or _digest(file, size) != file.read(_SEAL):
            raise cut_short(where)
        try:
            with zipfile.ZipFile(file) as archive:
                yield archive
        except (zipfile.BadZipFile, KeyError, NotImplementedError) as error:
            raise cut_short(where) from error


def dated(name: str, packing: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipInfo:
    """Return a member's head with one fixed date: the format knows none before 1980, a wrong clock does."""
    member = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    member.compress_type = packing
    return member


def cut_short(where: str) -> RecordError:
    """Return the error of a backup that is not whole."""
    return RecordError(
        "This is no backup, or it is cut short or changed.", where=where, do="Use another copy of it."
    )


def _seal(file: BinaryIO) -> None:
    size = file.seek(0, os.SEEK_END) - _SEAL
    digest = _digest(file, size)
    file.seek(size)
    file.write(digest)
    file.flush()
    os.fsync(file.fileno())


def _digest(file: BinaryIO, size: int) -> bytes:
    """Return the hex digest of the first ``size`` bytes, and leave the file at their end."""
    digest = hashlib.sha256()
    file.seek(0)
    for at in range(0, size, _CHUNK):
        digest.update(file.read(min(_CHUNK, size - at)))
    return digest.hexdigest().encode()


def _read_back(path: Path, where: str) -> None:
    with open_sealed_zip(path, where) as archive:
        if archive.testzip() is not None:
            raise cut_short(where)


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise RecordError("A file of this name exists.", where=path.name, do="Name a new file.")
