"""How many photographs are looked at at once in this process: two, or one where processes share the cores."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

_AT_ONCE = 2  # a visit has two or three photographs, and what comes after uses one core alone
_share_cores = False


def cores() -> int:
    """Return how many cores this process may use, at least one."""
    if hasattr(os, "sched_getaffinity"):  # not on every system
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def for_each(job: Callable[..., R], *items: Iterable[T]) -> tuple[R, ...]:
    """Do a job for every photograph, two at a time: the libraries let go of Python's lock meanwhile.

    Parameters
    ----------
    job
        Takes one of each of the items.
    items
        Of equal lengths.

    Examples
    --------
    >>> for_each(max, (1, 5), (3, 2))
    (3, 5)
    """
    if _share_cores:
        return tuple(map(job, *items))
    with ThreadPoolExecutor(max_workers=_AT_ONCE) as pool:
        return tuple(pool.map(job, *items))


def keep_to_one_core(*, one: bool = True) -> None:
    """Look at one photograph after the other from now on, OpenCV included: other processes have the others.

    The linear algebra is kept to one thread by the program's start, whatever is done.
    """
    global _share_cores  # noqa: PLW0603  # of the process, as the threads of the libraries are
    _share_cores = one
    if not one:
        return
    import cv2  # noqa: PLC0415  # long to load, and loaded where it is used

    cv2.setNumThreads(1)
