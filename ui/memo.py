"""A small memory of results: the last few are kept, the oldest goes first."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar

T = TypeVar("T")


class Memo:
    """Results by key, shared by all who look at the page.

    Streamlit's own cache forbids what a result is made with to show its progress, hence this one.

    Parameters
    ----------
    most
        How many to keep.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._lock = threading.Lock()
        self._making: dict[Hashable, threading.Lock] = {}

    def get(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return the result of a key; made at most once at a time, and not kept when making it fails."""
        with self._lock:
            turn = self._making.setdefault(key, threading.Lock())
        with turn:
            with self._lock:
                if key in self._kept:
                    self._kept.move_to_end(key)
                    found: T = self._kept[key]
                    return found
            try:
                made = make()
            finally:
                with self._lock:
                    self._making.pop(key, None)
            with self._lock:
                self._kept[key] = made
                while len(self._kept) > self._most:
                    self._kept.popitem(last=False)
            return made

    def has(self, key: Hashable) -> bool:
        """Tell whether a key's result is kept."""
        with self._lock:
            return key in self._kept

    def forget(self) -> None:
        """Drop everything."""
        with self._lock:
            self._kept.clear()
