"""Visits measured by the workers of a Dask cluster: files travel to them and models back, as bytes.

Workers need the program and nothing else: no records, no common disk.  Each measures one visit at a time on
one core, as a process of this machine does, so that its figures are the same to the last digit.
"""

from __future__ import annotations

import gc
import os
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import CancelledError
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from digitise import __version__
from digitise.cores import keep_to_one_core
from digitise.errors import ClusterError, DigitiseError
from digitise.files import new_folder
from digitise.output.model.files import check_model_folder, is_model_file
from digitise.unfinished import temporary_folder
from digitise.workflow.many.batch_table import MeasureJob, ResultRow
from digitise.workflow.many.engine import SECONDS, Done

Work = Callable[[MeasureJob], ResultRow]
_PATIENCE_S = 30.0
"""How long to wait for the scheduler, and for its first worker."""
_AHEAD = 2  # jobs for each core that are handed out ahead
_INSTALL = "Install the same version of the program for the scheduler and all workers."
_ENDED = "it ended every worker that took it, for want of memory or time"
_ALONE = threading.Lock()
"""Measuring sets what a whole process shares: threads of one worker take turns."""


@dataclass(frozen=True)
class Parcel:
    """A visit on its way to a worker.

    Attributes
    ----------
    job
        With the paths that it has here.
    files
        Content of the files that it names, by path; those that are missing here are missing there.
    version
        Of the program that packed it.
    """

    job: MeasureJob
    files: Mapping[str, bytes] = field(repr=False)
    version: str = __version__


@dataclass(frozen=True)
class Answer:
    """What comes back: the row, None without one and then why, and the files of the model."""

    row: ResultRow | None
    files: Mapping[str, bytes] = field(default_factory=dict, repr=False)
    reason: str = ""


def run_on_cluster(
    jobs: Iterable[MeasureJob], work: Work, address: str, *, seconds: float = SECONDS
) -> Iterator[Done[MeasureJob, ResultRow]]:
    """Do all jobs on a cluster and yield each as it is done, in whatever order, its model in its folder.

    A job whose worker is lost is done again elsewhere, as often as the scheduler allows (its setting
    ``allowed-failures``); one that ends every worker it comes to is given up alone.

    Parameters
    ----------
    jobs
        Visits whose files are here.
    work
        A function of a module, which measures one.
    address
        Of the scheduler, such as ``tcp://host:8786``.
    seconds
        What a job may take; a worker that takes longer is ended.

    Raises
    ------
    ClusterError
        The scheduler or the workers cannot be reached, or have another version of the program.
    """
    distributed = _distributed()
    waiting, doubted = deque(jobs), deque[MeasureJob]()
    if not waiting:
        return
    with _client(distributed, address) as client:
        for done in _round(distributed, client, waiting, work, seconds):
            if done.reason == _ENDED:
                doubted.append(done.job)
            else:
                yield done
        # whoever waits at a worker is blamed for its end as well: each is judged alone
        yield from _round(distributed, client, doubted, work, seconds, most=1)


def _round(
    distributed: Any, client: Any, waiting: deque[MeasureJob], work: Work, seconds: float, most: int = 0
) -> Iterator[Done[MeasureJob, ResultRow]]:
    """Do jobs, as many at a time as the cluster has cores, or ``most``."""
    held: dict[Any, MeasureJob] = {}
    while waiting or held:
        ahead = most or _AHEAD * max(sum(client.nthreads().values()), 1)
        while waiting and len(held) < ahead:
            job = waiting.popleft()
            held[client.submit(do_parcel, pack(job), work, seconds, pure=False)] = job
        for future in _finished(distributed, client, held):
            yield _done(distributed, held.pop(future), future, seconds)


def _finished(distributed: Any, client: Any, held: dict[Any, MeasureJob]) -> set[Any]:
    """Wait until some jobs are done; a cluster that has lost its workers is not waited for.

    Raises
    ------
    ClusterError
        No worker is left.
    """
    while True:
        try:
            done: set[Any] = distributed.wait(
                list(held), timeout=_PATIENCE_S, return_when="FIRST_COMPLETED"
            ).done
            return done
        except TimeoutError:
            if not client.nthreads():
                raise ClusterError(
                    "The cluster has lost its workers.",
                    do="What is done is kept: start workers, and give the command again.",
                ) from None


@contextmanager
def _client(distributed: Any, address: str) -> Iterator[Any]:
    """Give a connection to a cluster that has a worker; what it still holds is dropped in the end."""
    client = _reached(distributed, address)
    if client is None:
        # what failed is cleared away now: later its end could meet another client at its start, and both wait
        gc.collect()
        raise ClusterError(
            "The scheduler of the cluster cannot be reached.",
            where=address,
            do="Check its address, such as tcp://host:8786, and that it runs.",
        )
    with client:
        try:
            client.wait_for_workers(1, timeout=_PATIENCE_S)
        except (TimeoutError, OSError) as error:
            raise ClusterError(
                "The cluster has no worker.", where=address, do="Start one: dask worker ADDRESS --nthreads 1"
            ) from error
        yield client


def _reached(distributed: Any, address: str) -> Any:
    try:
        return distributed.Client(address, timeout=_PATIENCE_S)
    except (OSError, ValueError, TypeError):
        return None


def _done(distributed: Any, job: MeasureJob, future: Any, seconds: float) -> Done[MeasureJob, ResultRow]:
    try:
        # one whose worker is lost meanwhile is done again before it comes
        answer: Answer = future.result(timeout=seconds + _PATIENCE_S)
    except (distributed.KilledWorker, TimeoutError):
        return Done(job, None, _ENDED)
    except CancelledError as error:
        raise ClusterError(
            "The connection to the cluster was lost.", do="What is done is kept: give the command again."
        ) from error
    except ImportError as error:
        raise ClusterError("The cluster does not have the program.", do=_INSTALL) from error
    except RuntimeError as error:
        if "deserializ" not in str(error):
            raise
        raise ClusterError("The cluster does not have the program.", do=_INSTALL) from error
    return keep(job, answer)


def keep(job: MeasureJob, answer: Answer) -> Done[MeasureJob, ResultRow]:
    """Write the model that came back into its folder; one that cannot be written is a row with its reason."""
    if answer.row is None:
        return Done(job, None, answer.reason)
    if not answer.files:
        return Done(job, answer.row)
    try:
        check_model_folder(job.out)
        with new_folder(job.out, is_model_file, "results") as folder:
            for name, data in answer.files.items():
                (folder / name).write_bytes(data)
    except DigitiseError as error:
        return Done(job, ResultRow(job.name, "refused", reason=str(error)))
    return Done(job, answer.row)


def pack(job: MeasureJob) -> Parcel:
    """Return a visit with the content of its files."""
    paths = (*job.photos, job.field, job.tape, job.lens, *job.corrections)
    return Parcel(job, {path: Path(path).read_bytes() for path in paths if path and Path(path).is_file()})


def do_parcel(parcel: Parcel, work: Work, seconds: float = SECONDS) -> Answer:
    """Do a job on a worker, in a folder of its own.

    Raises
    ------
    ClusterError
        The worker has another version of the program than who sent it.
    """
    if parcel.version != __version__:
        raise ClusterError(
            f"A worker has version {__version__} of the program, this is {parcel.version}.", do=_INSTALL
        )
    with _ALONE, _within(seconds), temporary_folder() as folder:
        keep_to_one_core()
        places = _unpack(parcel, folder)
        try:
            row = work(_moved(parcel.job, places))
        except MemoryError:
            return Answer(None, reason="it took more memory than a job may")
        reason = row.reason
        # a message names files as they are called where they came from
        for here, there in places.items():
            reason = reason.replace(there, here)
        out = Path(places[parcel.job.out])
        files = sorted(out.iterdir()) if out.is_dir() else []
        return Answer(replace(row, reason=reason), {path.name: path.read_bytes() for path in files})


@contextmanager
def _within(seconds: float) -> Iterator[None]:
    """End this process, a worker, when the block takes longer: its thread cannot be stopped otherwise."""
    watch = threading.Timer(seconds, os._exit, (1,))
    watch.daemon = True
    watch.start()
    try:
        yield
    finally:
        watch.cancel()


def _unpack(parcel: Parcel, folder: Path) -> dict[str, str]:
    """Write the files, each under its own name, and return the new path of each path of the job."""
    job = parcel.job
    paths = dict.fromkeys((*job.photos, job.field, job.tape, job.lens, *job.corrections, job.out))
    places = {}
    for number, path in enumerate(filter(None, paths)):
        place = folder / str(number) / Path(path).name
        place.parent.mkdir()
        if path in parcel.files:
            place.write_bytes(parcel.files[path])
        places[path] = str(place)
    return places


def _moved(job: MeasureJob, places: Mapping[str, str]) -> MeasureJob:
    return replace(
        job,
        photos=tuple(places[path] for path in job.photos),
        field=places.get(job.field, ""),
        tape=places.get(job.tape, ""),
        lens=places.get(job.lens, ""),
        corrections=tuple(places[path] for path in job.corrections),
        out=places[job.out],
    )


def _distributed() -> Any:
    try:
        import distributed  # noqa: PLC0415  # an optional library
    except ModuleNotFoundError as error:
        raise ClusterError(
            "What works with a cluster is not installed.",
            do="Run: pip install 'limb-shape-digitiser[cluster]', or use --workers.",
        ) from error
    return distributed
