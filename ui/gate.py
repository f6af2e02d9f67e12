"""The passphrase of a clinic network, with a lock after failures; no Streamlit here."""

from __future__ import annotations

import hmac
import os
import threading
import time
from collections.abc import Callable

VARIABLE = "DIGITISE_UI_PASSPHRASE"
MOST_FAILURES = 5
LOCKED_S = 300.0


class Gate:
    """Lets in who knows the passphrase; after five failures nobody for five minutes.

    Parameters
    ----------
    passphrase
        The right one; empty when everybody may come in.
    clock
        Seconds that only go forward.
    """

    def __init__(self, passphrase: str, clock: Callable[[], float] = time.monotonic) -> None:
        self._passphrase, self._clock = passphrase.encode(), clock
        self._failures, self._locked_until = 0, float("-inf")
        self._lock = threading.Lock()

    @property
    def is_open(self) -> bool:
        """Whether no passphrase is asked for."""
        return not self._passphrase

    @property
    def locked_s(self) -> float:
        """For how many more seconds nobody is let in."""
        return max(0.0, self._locked_until - self._clock())

    def try_passphrase(self, offered: str) -> bool:
        """Tell whether the passphrase is right; counts failures over all who try."""
        with self._lock:
            if self.locked_s:
                return False
            if hmac.compare_digest(offered.encode(), self._passphrase):
                self._failures = 0
                return True
            self._failures += 1
            if self._failures >= MOST_FAILURES:
                self._failures, self._locked_until = 0, self._clock() + LOCKED_S
            return False


GATE = Gate(os.environ.get(VARIABLE, ""))
"""The gate of this server."""
