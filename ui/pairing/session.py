"""One visit's open door for photographs: who may bring them, until when, and what came; no Streamlit here."""

from __future__ import annotations

import logging
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from enum import Enum

from digitise.errors import DigitiseError, PhotoError
from digitise.words import language, shown
from ui import dates
from ui.draft import MOST_PHOTOS, draft_of, inputs_or_none
from ui.pairing.sealing import new_key
from ui.spoken import text

LIFETIME_S = 600.0
_QUIET_S = 0.7
_MOST_LINES = 50

LOG = logging.getLogger("digitise.pairing")
"""Says what was refused and why, and never a client, a photograph or a file's name."""


class Refusal(Enum):
    """Why something is not taken, and the status that answers it."""

    FOREIGN = "a foreign address", 403
    OTHER_PAGE = "another page or another name of this computer", 403
    UNKNOWN = "nothing is at that place", 404
    WRONG_CODE = "a wrong code", 403
    USED = "a code that was used", 409
    EXPIRED = "a code that has expired", 410
    TOO_LARGE = "a file that is too large", 413
    TOO_SLOW = "a file that took too long", 408
    UNUSABLE = "a file that cannot be used", 422
    NOT_KEPT = "a file that this computer's disk did not take", 507
    NOT_OPEN = "a visit that is not open any more", 410

    def __init__(self, words: str, status: int) -> None:
        self.words, self.status = words, status


class RefusedError(Exception):
    """Something that is not taken.

    Parameters
    ----------
    refusal
        Why.
    said
        What the phone shows; empty for its own words.
    """

    def __init__(self, refusal: Refusal, said: str = "") -> None:
        super().__init__(refusal.words)
        self.refusal, self.said = refusal, said


@dataclass(frozen=True)
class Arrived:
    """A photograph that came.

    Attributes
    ----------
    file
        Name of its file in the draft.
    name
        The name it came with.
    taken
        When it says it was taken; None when it does not say.
    """

    file: str
    name: str
    taken: datetime | None


@dataclass
class Pairing:
    """The door of one visit, for one phone, for ten minutes.

    Attributes
    ----------
    draft
        Name of the draft that photographs come into.
    lifetime_s
        How long it stays open.
    clock
        Seconds that only go forward.
    key
        What is sealed with; it stands in the code that the phone reads and in no message.
    language
        In which the phone is spoken to: that of the page that shows the code.
    """

    draft: str
    lifetime_s: float = LIFETIME_S
    clock: Callable[[], float] = time.monotonic
    key: bytes = field(default_factory=new_key, repr=False)
    language: str = field(default_factory=language)
    _device: str = field(default="", init=False, repr=False)
    _arrived: dict[str, Arrived] = field(default_factory=dict, init=False, repr=False)
    _lines: int = field(default=0, init=False)
    _closed: bool = field(default=False, init=False)
    _was_there: bool = field(default=False, init=False)

    def __post_init__(self) -> None:
        self._ends = self.clock() + self.lifetime_s
        self._stirred = self.clock()
        self._lock = threading.Lock()
        self._is_removed()

    @property
    def left_s(self) -> float:
        """For how many more seconds it is open; 0 when it has ended."""
        return 0.0 if self._closed else max(0.0, self._ends - self.clock())

    @property
    def is_quiet(self) -> bool:
        """Whether no photograph was begun or finished just now, so that none follows at once."""
        return self.clock() - self._stirred >= _QUIET_S

    @property
    def is_claimed(self) -> bool:
        """Whether a phone has come."""
        return bool(self._device)

    @property
    def arrived(self) -> tuple[Arrived, ...]:
        """What came, in order."""
        return tuple(self._arrived.values())

    @property
    def is_closed(self) -> bool:
        """Whether it was closed; its time may be over before that."""
        return self._closed

    def close(self) -> None:
        """Take nothing more."""
        self._closed = True

    def admit(self, device: str) -> None:
        """Let a phone in whose message was sealed with the key: the first that comes, and no other after it.

        Raises
        ------
        RefusedError
            The time is over, another phone was here first, or the visit is not open any more.
        """
        with self._lock:
            if not self.left_s:
                raise RefusedError(Refusal.EXPIRED)
            self._device = self._device or device
            if not secrets.compare_digest(self._device, device):
                raise RefusedError(Refusal.USED)
            self._stirred = self.clock()
        there = draft_of(self.draft)
        inputs = None if there is None else inputs_or_none(there)
        if inputs is None or inputs.saved is not None or inputs.cleared or self._is_removed():
            raise RefusedError(Refusal.NOT_OPEN)

    def take(self, photo: str, name: str, data: bytes) -> None:
        """Strip a photograph and put it into the visit; one that came already changes nothing.

        Parameters
        ----------
        photo
            What the phone calls it, so that one sent twice counts once.
        name
            The name of its file on the phone.
        data
            The file.

        Raises
        ------
        RefusedError
            It is no photograph, or there are too many.
        """
        with self._lock:
            if photo in self._arrived:
                return
            self._arrived[photo] = self._kept(name, data)
            self._stirred = self.clock()

    def _kept(self, name: str, data: bytes) -> Arrived:
        there = draft_of(self.draft)
        if self._is_removed():
            raise RefusedError(Refusal.NOT_OPEN)
        if there is None or len(there.photos) >= MOST_PHOTOS:
            raise RefusedError(Refusal.UNUSABLE, text.TOO_MANY_PHOTOS)
        try:
            path = there.add_photo(data, name)
        except PhotoError as error:
            raise RefusedError(Refusal.UNUSABLE, _sentence(error)) from error
        except OSError as error:
            raise RefusedError(Refusal.NOT_KEPT, text.UPLOAD_NOT_KEPT) from error
        return Arrived(path.name, name, dates.taken(data))

    def _is_removed(self) -> bool:
        """Tell whether the visit was there and is no more, as when its client is forgotten meanwhile."""
        there = draft_of(self.draft)
        exists = there is not None and there.folder.is_dir()
        self._was_there |= exists
        return self._was_there and not exists

    def note(self, refusal: Refusal, peer: str) -> None:
        """Write to the log that something was refused; a flood of it fills no disk."""
        self._lines += 1
        if self._lines <= _MOST_LINES:
            LOG.warning("refused: %s, from %s", refusal.words, peer)
        if self._lines == _MOST_LINES:
            LOG.warning("more that is refused is not written down")


def _sentence(error: DigitiseError) -> str:
    return shown(f"{error.what} {error.do}".strip())
