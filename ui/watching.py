"""A folder that a phone's photographs are copied to: what is new in it, and for which visit."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from digitise.capture.photo.photograph import LARGEST_FILE
from digitise.errors import PhotoError
from ui import dates

VARIABLE = "DIGITISE_UI_WATCH"
_KINDS = (".jpg", ".jpeg", ".png", ".heic", ".heif")
_SKEW = timedelta(minutes=1)
_STILL_S = 1.0
Mark = tuple[str, int, int]


@dataclass(frozen=True)
class Found:
    """A new picture.

    Attributes
    ----------
    path
        Its file.
    data
        What is in it.
    taken
        When it says it was taken; None when it does not say.
    is_older
        Whether that was before its visit was opened: it may show another client.
    """

    path: Path
    data: bytes
    taken: datetime | None
    is_older: bool


@dataclass
class Watch:
    """What is known of a folder.

    A picture belongs to the visit that is entered when it appears.  What was there before that visit was
    opened is never taken, and what was taken with the camera before that is asked about.

    Attributes
    ----------
    folder
        The folder; its folders are not looked into.
    clock
        Seconds that only go forward.
    """

    folder: Path
    clock: Callable[[], float] = time.monotonic
    _visit: str = field(default="", init=False)
    _known: set[Mark] = field(default_factory=set, init=False)
    _first_seen: dict[Mark, float] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._lock = threading.Lock()
        self._opened = datetime.now().astimezone()

    def turn_to(self, visit: str) -> None:
        """Note which visit is entered now; with another one, all that is in the folder counts as known.

        Raises
        ------
        PhotoError
            The folder cannot be read.
        """
        with self._lock:
            if visit != self._visit:
                self._known |= set(self._marks())
                self._visit, self._opened = visit, datetime.now().astimezone()

    def has_new(self, visit: str) -> bool:
        """Tell whether pictures of a visit have appeared and are whole: the same for a second.

        Raises
        ------
        PhotoError
            The folder cannot be read.
        """
        with self._lock:
            return visit == self._visit and bool(self._whole())

    def take(self, visit: str) -> tuple[Found, ...]:
        """Return the new pictures of a visit, each once.

        Raises
        ------
        PhotoError
            The folder cannot be read.
        """
        with self._lock:
            if visit != self._visit:
                return ()
            whole = self._whole()
            self._known |= set(whole)
            return tuple(found for mark in whole if (found := self._found(self.folder / mark[0])))

    def _found(self, path: Path) -> Found | None:
        try:
            data = path.read_bytes()
        except OSError:  # gone again
            return None
        taken = dates.taken(data)
        return Found(path, data, taken, taken is not None and taken < self._opened - _SKEW)

    def _whole(self) -> list[Mark]:
        now = self.clock()
        new = [mark for mark in self._marks() if mark not in self._known]
        self._first_seen = {mark: self._first_seen.get(mark, now) for mark in new}
        whole = [mark for mark, first in self._first_seen.items() if now - first >= _STILL_S]
        return sorted(whole, key=lambda mark: (mark[1], mark[0]))

    def _marks(self) -> list[Mark]:
        try:
            with os.scandir(self.folder) as entries:
                return [mark for entry in entries if (mark := _mark(entry)) is not None]
        except OSError as error:
            raise PhotoError(
                "The folder of the phone's photographs cannot be read.",
                where=str(self.folder),
                do="See that it is there, or start again with another one after --watch.",
            ) from error


def _mark(entry: os.DirEntry[str]) -> Mark | None:
    """Return what tells a picture from another, and from itself while it grows; None for no picture."""
    if entry.name.startswith(".") or not entry.name.lower().endswith(_KINDS):
        return None
    try:
        if not entry.is_file(follow_symlinks=False):
            return None
        there = entry.stat(follow_symlinks=False)
    except OSError:
        return None
    return (entry.name, there.st_mtime_ns, there.st_size) if 0 < there.st_size <= LARGEST_FILE else None


def watched() -> Watch | None:
    """Return the watch of the folder that the page was started with; None without one."""
    name = os.environ.get(VARIABLE)
    return Watch(Path(name)) if name else None
