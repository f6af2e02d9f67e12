"""Temporary files that are found again: whatever a killed program left is removed by the next one.

Every temporary folder is private.  It stands in one folder of the user's data, or beside the file that it
becomes (a rename cannot cross disks); then that folder keeps a note of it.  A lock that the system drops with
its program tells which are still in use.
"""

from __future__ import annotations

import os
import secrets
import shutil
import sys
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext, suppress
from pathlib import Path

import platformdirs

PREFIX = ".digitise-"
"""How the name of every temporary folder begins; nothing else is ever removed."""
_NOTE = ".note"


@contextmanager
def temporary_folder(beside: Path | None = None) -> Iterator[Path]:
    """Give an empty folder that only its owner can enter, and remove it when the block ends, however it ends.

    Parameters
    ----------
    beside
        The folder that shall hold it, on the disk of what is made; None for the folder of all unfinished
        work.

    Raises
    ------
    OSError
        It cannot be made.
    """
    home = unfinished_folder()
    name = f"{PREFIX}{secrets.token_hex(8)}"
    folder = (home if beside is None else beside.absolute()) / name
    try:
        home.mkdir(parents=True, mode=0o700, exist_ok=True)
        noted: AbstractContextManager[None] = _held_note(home / f"{name}{_NOTE}", folder)
    except OSError:
        if beside is None:
            raise
        noted = (
            nullcontext()
        )  # a data folder that cannot be written to shall not keep results from being made
    with noted:
        folder.mkdir(mode=0o700)
        try:
            yield folder
        finally:
            shutil.rmtree(folder, ignore_errors=True)


def unfinished_folder() -> Path:
    """Return the folder of all unfinished work, in the user's data folder."""
    return platformdirs.user_data_path("digitise", appauthor=False) / "unfinished"


def clear_unfinished() -> int:
    """Remove what programs that run no more left unfinished, and return how many folders that were.

    What cannot be removed now, such as a folder on a disk that is not there, is tried again the next time.
    """
    home, count = unfinished_folder(), 0
    with suppress(OSError):
        for note in sorted(home.glob(f"{PREFIX}*{_NOTE}")):
            count += _clear(note)
        for stray in home.glob(f"{PREFIX}*"):
            # made by hand or by an earlier version: without a note nobody uses it
            if not stray.name.endswith(_NOTE) and not stray.with_name(stray.name + _NOTE).exists():
                shutil.rmtree(stray, ignore_errors=True)
    return count


def _clear(note: Path) -> int:
    with suppress(OSError), note.open("r+b") as file:
        if not _lock(file.fileno()):
            return 0
        folder = Path(file.read().decode("utf-8", "surrogateescape"))
        if folder.name == note.name.removesuffix(_NOTE) and folder.is_absolute():
            shutil.rmtree(folder, ignore_errors=True)
            if folder.exists() or not folder.parent.is_dir():
                return 0
        note.unlink(missing_ok=True)
        return 1
    return 0


def _held_note(note: Path, folder: Path) -> AbstractContextManager[None]:
    """Make a note of a folder, locked as long as this program works on it, and return what ends that.

    Raises
    ------
    OSError
        It cannot be made.
    """
    descriptor = os.open(note, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
    # its name is a random number: only one that clears, just now, can have the lock
    while not _lock(descriptor) or not note.exists():
        os.close(descriptor)
        descriptor = os.open(note, os.O_CREAT | os.O_RDWR, 0o600)
    os.write(descriptor, os.fsencode(folder))
    return _release(descriptor, note)


@contextmanager
def _release(descriptor: int, note: Path) -> Iterator[None]:
    try:
        yield
    finally:
        os.close(descriptor)
        note.unlink(missing_ok=True)


def _lock(descriptor: int) -> bool:
    """Take the lock of an open file unless another program has it; the system drops it with the program."""
    try:
        if sys.platform == "win32":
            import msvcrt  # noqa: PLC0415  # there is none elsewhere

            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl  # noqa: PLC0415  # there is none on Windows

            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
