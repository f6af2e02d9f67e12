"""A small memory of results: the last few are kept, the oldest goes first."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from typing import Any, TypeVar

from digitise.words import language

T = TypeVar("T")


@dataclass
class _Turn:
    """The right to make one key's result, and how many hold it or wait for it."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    waiting: int = 0


class Memo:
    """Results by key, shared by all who look at the page.

    Streamlit's own cache forbids what a result is made with to show its progress, hence this one.

    Parameters
    ----------
    most
        How many to keep.
    spoken
        A result holds words: it is another one in each language.
    """

    def __init__(self, most: int, *, spoken: bool = False) -> None:
        self._most, self._spoken = most, spoken
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()
        self._turns: dict[Hashable, _Turn] = {}
        self._forgotten = 0

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return the result of a key; made at most once at a time, and not kept when making it fails.

        What is being made while everything is forgotten is returned, but not kept.
        """
        key = self._key(key)
        with self._lock:
            turn = self._turns.setdefault(key, _Turn())
            turn.waiting += 1
        try:
            with turn.lock:
                with self._lock:
                    before = self._forgotten
                    if key in self._kept:
                        self._kept.move_to_end(key)
                        found: T = self._kept[key]
                        return found
                made = make()
                with self._lock:
                    if before == self._forgotten:
                        self._keep(key, made)
                return made
        finally:
            with self._lock:
                turn.waiting -= 1
                # not before the result is kept, nor while somebody waits: else it would be made twice
                if not turn.waiting:
                    self._turns.pop(key, None)

    def _keep(self, key: Hashable, made: object) -> None:
        self._kept[key] = made
        while len(self._kept) > self._most:
            self._kept.popitem(last=False)

    def has(self, key: Hashable) -> bool:
        """Tell whether a key's result is kept."""
        with self._lock:
            return self._key(key) in self._kept

    def _key(self, key: Hashable) -> Hashable:
        return (key, language()) if self._spoken else key

    def forget(self) -> None:
        """Drop everything, also what is being made now."""
        with self._lock:
            self._kept.clear()
            self._forgotten += 1
