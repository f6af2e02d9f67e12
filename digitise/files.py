"""Folders of results that appear all at once or not at all, also when the power fails."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from digitise.errors import OutputError
from digitise.unfinished import clear_unfinished, temporary_folder

# left behind by file managers; nobody misses them
_NOBODYS = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})


@contextmanager
def new_folder(out: str | Path, ours: Callable[[str], bool], what: str) -> Iterator[Path]:
    """Give an empty scratch folder to fill; when the block ends well, it becomes the folder ``out``.

    The scratch folder stands beside ``out``, so that the last step is a rename.  An earlier folder of ours is
    renamed away first and put back when anything fails.  A folder that cannot be renamed (a mount point, the
    working folder of a shell) keeps its identity, and its files are exchanged one by one instead.  All files
    are on the disk before the first of them is moved.

    Parameters
    ----------
    out
        Where the results shall be.
    ours
        Tells by its name whether a file is one of ours and may be replaced.
    what
        The results in the plural, for messages.

    Raises
    ------
    OutputError
        The folder cannot be made or written to, or holds files that are not ours; nothing has changed then.
    """
    clear_unfinished()
    try:
        # a zero byte in the name is a ValueError, here only
        target = Path(out).resolve()
        _refuse_strangers(target, ours, what, str(out))
        fixed = target.is_dir() and _stays(target)
        parent = target if fixed else target.parent
        parent.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: links in a circle
        raise _cannot_write(error, what, out) from error
    try:
        with temporary_folder(parent) as scratch:
            complete, old = scratch / "complete", scratch / "old"
            complete.mkdir()
            yield complete
            _flush_all(complete)
            if fixed:
                _exchange_entries(complete, target, old, scratch)
            else:
                _exchange(complete, target, old)
            flush_folder(parent)
    except OSError as error:
        raise _cannot_write(error, what, out) from error


def check_folder(out: str | Path, ours: Callable[[str], bool], what: str) -> None:
    """Refuse at once, before long work, a folder that :func:`new_folder` would refuse for what it holds.

    Raises
    ------
    OutputError
        The folder holds files that are not ours, or cannot be looked into.
    """
    try:
        _refuse_strangers(Path(out).resolve(), ours, what, str(out))
    except (OSError, ValueError, RuntimeError) as error:  # as in new_folder
        raise _cannot_write(error, what, out) from error


def flush_folder(folder: Path) -> None:
    """Have new names in a folder survive a loss of power, where the system can.

    Raises
    ------
    OSError
        The disk fails.
    """
    if os.name == "posix":
        try:
            _flush(folder)
        except OSError as error:
            # the answer of file systems, mostly of networks, that do so for files only
            if error.errno != errno.EINVAL:
                raise


def put_new(part: Path, target: Path) -> None:
    """Give a complete file its name, unless a file of that name has come meanwhile, which then stays.

    Raises
    ------
    OSError
        The disk refuses.
    """
    _flush(part)
    try:
        os.link(part, target)
    except FileExistsError:
        return
    except OSError:
        # a file system without links; elsewhere a rename would replace what is there
        if not target.exists():
            part.replace(target)
    flush_folder(target.parent)


def _flush_all(folder: Path) -> None:
    """Have the files of a folder on the disk, not only in the system's memory."""
    for item in folder.iterdir():
        _flush(item)
    flush_folder(folder)


def _flush(path: Path) -> None:
    # Windows flushes only what may be written to, POSIX opens folders for reading only
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _cannot_write(error: Exception, what: str, out: str | Path) -> OutputError:
    reason = getattr(error, "strerror", None) or error
    return OutputError(
        f"The {what} cannot be written ({reason}).",
        where=str(out),
        do="Make room on the disk, or choose another folder.",
    )


def _refuse_strangers(target: Path, ours: Callable[[str], bool], what: str, where: str) -> None:
    if not target.exists():
        return
    if not target.is_dir():
        raise OutputError("There is a file of this name.", where=where, do="Name a folder.")
    for name in sorted(item.name for item in target.iterdir()):
        if not ours(name) and name not in _NOBODYS:
            raise OutputError(
                f"The folder holds other files, such as {name}.",
                where=where,
                do=f"Name a new or empty folder for the {what}.",
            )


def _stays(target: Path) -> bool:
    """Tell whether a folder must not or cannot be renamed."""
    return os.path.ismount(target) or target == Path.cwd() or not os.access(target.parent, os.W_OK)


def _exchange(complete: Path, target: Path, old: Path) -> None:
    there = target.is_dir()
    if there:
        target.rename(old)
    try:
        complete.rename(target)
    except BaseException:
        if there:
            old.rename(target)
        raise


def _exchange_entries(complete: Path, target: Path, old: Path, scratch: Path) -> None:
    old.mkdir()
    moves = [(item, old / item.name) for item in target.iterdir() if item != scratch]
    moves += [(item, target / item.name) for item in complete.iterdir()]
    done: list[tuple[Path, Path]] = []
    try:
        for before, after in moves:
            before.rename(after)
            done.append((before, after))
    except BaseException:
        for before, after in reversed(done):
            after.rename(before)
        raise
