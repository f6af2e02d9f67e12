"""Many jobs on the cores of this machine, each in a process of its own, so that a bad one ends alone."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import connection
from types import FrameType
from typing import Generic, TypeVar

try:
    import resource
except ImportError:  # not on every system
    resource = None  # type: ignore[assignment]

from digitise.cores import keep_to_one_core

J = TypeVar("J")
R = TypeVar("R")

MEMORY_MB = 2000
"""What a job may hold; two photographs of 12 million pixels need some 500."""
SECONDS = 300.0
"""What a job may take; two photographs take 1 to 10."""
_WAITING = 2  # jobs for each worker that are handed out ahead


class JobFailedError(Exception):
    """A job that ended without a result: it took too long or too much memory, or its process was killed."""


@dataclass(frozen=True)
class Done(Generic[J, R]):
    """What became of a job.

    Attributes
    ----------
    job
        The job.
    result
        What it returned, None when it ended without a result.
    reason
        Why it ended without one; empty otherwise.
    """

    job: J
    result: R | None
    reason: str = ""


def run_jobs(
    jobs: Iterable[J],
    work: Callable[[J], R],
    *,
    workers: int = 1,
    memory_mb: int = MEMORY_MB,
    seconds: float = SECONDS,
) -> Iterator[Done[J, R]]:
    """Do all jobs and yield each as it is done, in whatever order.

    A job whose process dies takes those down that ran beside it: all of them are done again, one by one, and
    only the one that ends its process alone as well is given up.

    Parameters
    ----------
    jobs
        Values that can be pickled.
    work
        A function of a module; what it raises is raised here.
    workers
        Processes, each on one core; with one the jobs run in a single other process, so that it can be lost.
    memory_mb, seconds
        Limits of each job.
    """
    waiting, alone = deque(jobs), deque[J]()
    while waiting or alone:
        source, count = (alone, 1) if alone else (waiting, workers)
        with _pool(count, memory_mb) as pool:
            yield from _in_pool(pool, source, alone, work, count, seconds)


def _in_pool(
    pool: ProcessPoolExecutor,
    source: deque[J],
    alone: deque[J],
    work: Callable[[J], R],
    workers: int,
    seconds: float,
) -> Iterator[Done[J, R]]:
    """Do jobs until none is left or the pool breaks; those that it then held go to ``alone``."""
    judged = source is alone
    held: dict[Future[R], J] = {}
    ahead = 1 if judged else _WAITING * workers
    broken = False
    while (source and not broken) or held:
        while source and not broken and len(held) < ahead:
            job = source.popleft()
            try:
                held[pool.submit(_limited, work, job, seconds)] = job
            except BrokenProcessPool:
                source.appendleft(job)
                broken = True
        finished, _ = wait(held, return_when=FIRST_COMPLETED)
        for future in finished:
            job = held.pop(future)
            try:
                yield Done(job, future.result())
            except JobFailedError as error:
                yield Done(job, None, str(error))
            except BrokenProcessPool:
                broken = True
                if judged:
                    yield Done(job, None, "its process was killed, as for want of memory")
                else:
                    alone.append(job)


@contextmanager
def _pool(workers: int, memory_mb: int) -> Iterator[ProcessPoolExecutor]:
    pool = ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_prepare, initargs=(memory_mb,)
    )
    try:
        yield pool
    except BaseException:
        pool.shutdown(wait=True, cancel_futures=True)
        raise
    pool.shutdown(wait=True)


def _prepare(memory_mb: int) -> None:
    """Make a worker leave Ctrl-C to who started it, end with it, keep to one core and to its memory."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    # a worker is a core: those that each use two wait for each other
    keep_to_one_core()
    if resource is None:
        return
    # what the libraries map without using it counts as well
    limit = (memory_mb + 4000) * 2**20
    resource.setrlimit(resource.RLIMIT_AS, (limit, limit))


def _end_with_parent() -> None:
    """Wait until the process that started this one is gone, and end: a killed one cannot say so."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def _limited(work: Callable[[J], R], job: J, seconds: float) -> R:
    """Do a job within its time, in a worker."""
    timed = hasattr(signal, "SIGALRM")
    if timed:
        signal.signal(signal.SIGALRM, _too_long)
        signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        return work(job)
    except MemoryError as error:
        raise JobFailedError("it took more memory than a job may") from error
    finally:
        if timed:
            signal.setitimer(signal.ITIMER_REAL, 0.0)


def _too_long(_number: int, _frame: FrameType | None) -> None:
    raise JobFailedError("it took longer than a job may")
