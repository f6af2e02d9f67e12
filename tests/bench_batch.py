"""What sharing visits between processes and machines costs.

All figures are of one run on this machine: the throughput of two workers against one, what the engine adds to
the measuring itself, memory of a worker, and how cost grows with the number of visits, in seconds of clock
and of processor; then, by simulation with the cost of each job as measured here, an archive on a cluster.
"""

from __future__ import annotations

import argparse
import heapq
import pickle
import resource
import tempfile
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from conftest import CASES

from digitise.cores import keep_to_one_core
from digitise.workflow.many.batch import measure_job, run_batch
from digitise.workflow.many.batch_table import MeasureJob
from digitise.workflow.many.cluster import do_parcel, keep, pack

NAMES = ("walk-light", "turn-dark", "pair-calf-week0", "pair-calf-week3")
VISITS, CORES = 10_000, 64
GIGABITS = (1, 10)
"""Of the network between the one who sends and the cluster, per second."""
STEP_S = 0.01
"""What the scheduler does for each job, assumed: its documents state under 1 ms (from memory)."""


def jobs(count: int, out: Path) -> list[MeasureJob]:
    found = []
    for n in range(count):
        home = CASES[NAMES[n % 4]] / NAMES[n % 4]
        photos = tuple(str(home / f"photo-{k}.jpg") for k in (1, 2))
        # other heights are other visits: nothing is found in an earlier result
        heights = (110.0 + n % 7, 690.0 - n % 11)
        tape, name = str(home / "tape.csv"), f"v{n:04}"
        found.append(
            MeasureJob(name, photos, str(home / "field.json"), tape, "leg", "left", *heights, str(out / name))
        )
    return found


def processor_s() -> float:
    """Seconds of processor of this process and of those that it has ended."""
    mine, theirs = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return mine.ru_utime + mine.ru_stime + theirs.ru_utime + theirs.ru_stime


def seconds(count: int, workers: int) -> tuple[float, float]:
    """Seconds of clock and of processor for a batch."""
    with tempfile.TemporaryDirectory() as folder:
        start, before = time.perf_counter(), processor_s()
        rows = run_batch(jobs(count, Path(folder)), Path(folder), workers=workers)
        took = time.perf_counter() - start, processor_s() - before
    assert all(row.status == "measured" for row in rows)
    return took


# ---- a cluster, by simulation --------------------------------------------------------------------


@dataclass(frozen=True)
class Costs:
    """What each visit costs: seconds on a worker, seconds of who sends and keeps, and what travels."""

    work: Sequence[float]
    send: float
    keep: float
    megabytes: float


def costs(count: int) -> Costs:
    """Measure visits as a worker of a cluster does, one after the other on one core."""
    cv2.setNumThreads(1)
    work, send, kept, size = [], [], [], []
    with tempfile.TemporaryDirectory() as folder:
        for job in jobs(count, Path(folder)):
            start = time.process_time()
            there = pickle.dumps(pack(job))
            send.append(time.process_time() - start)
            start = time.process_time()
            answer = do_parcel(pickle.loads(there), measure_job)
            back = pickle.dumps(answer)
            work.append(time.process_time() - start)
            start = time.process_time()
            keep(job, pickle.loads(back))
            kept.append(time.process_time() - start)
            size.append(len(there) + len(back))
    # the first loads what all others find loaded
    return Costs(work[1:], float(np.mean(send)), float(np.mean(kept)), float(np.mean(size)) / 1e6)


def simulated(found: Costs, visits: int, cores: int, gigabits: float) -> float:
    """Seconds until the last visit is kept.

    One sender packs, sends, receives and keeps, one thing at a time; each core takes the next visit that has
    arrived, in the order sent; two for each core are on their way.
    """
    travel = found.megabytes / (125.0 * gigabits) / 2
    send, kept = found.send + travel + STEP_S, found.keep + travel
    work = iter(np.random.default_rng(1).choice(found.work, visits))
    free, left = 0.0, visits
    arrived: deque[float] = deque()
    for _ in range(min(2 * cores, visits)):
        free, left = free + send, left - 1
        arrived.append(free)
    ends: list[float] = [arrived.popleft() + next(work) for _ in range(min(cores, visits))]
    heapq.heapify(ends)
    while ends:
        end = heapq.heappop(ends)
        free = max(free, end) + kept
        if left:
            free, left = free + send, left - 1
            arrived.append(free)
        if arrived:
            heapq.heappush(ends, max(end, arrived.popleft()) + next(work))
    return free


# ---- all of it -----------------------------------------------------------------------------------


def plainly(count: int, *, one_core: bool) -> tuple[float, float]:
    """Seconds of clock and of processor for visits one after the other in this process."""
    keep_to_one_core(one=one_core)
    cv2.setNumThreads(1 if one_core else -1)
    with tempfile.TemporaryDirectory() as folder:
        every = jobs(count + 1, Path(folder))
        measure_job(every.pop())  # the first loads what all others find loaded
        start, before = time.perf_counter(), processor_s()
        for job in every:
            measure_job(job)
        return time.perf_counter() - start, processor_s() - before


def clock(count: int) -> None:
    ways = {
        "one process, one core": plainly(count, one_core=True),
        "one process, two photographs at once": plainly(count, one_core=False),
        "one worker": seconds(count, 1),
        "two workers": seconds(count, 2),
    }
    for name, (took, used) in ways.items():
        print(f"{count} visits, {name}: {took:.1f} s of clock, {used:.1f} s of processor")
    core, _, one, two = (took for took, _ in ways.values())
    print(f"two workers: {core / two:.2f} x one process on one core, {one / two:.2f} x one worker")
    print(f"the engine adds {100 * (one / core - 1):.1f} % of clock")


def main(count: int, *, cost_only: bool) -> None:
    if not cost_only:
        clock(count)
    for share in (0.25, 0.5, 1.0):
        part = max(1, round(share * count))
        took, used = seconds(part, 2)
        each = f"{used / part:.2f} s each"
        print(f"{part} visits, two workers: {took:.1f} s of clock, {used:.1f} s of processor, {each}")
    print(f"largest worker: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")
    found = costs(min(count, 16) + 1)
    mean, most = np.mean(found.work), np.max(found.work)
    print(
        f"a visit: {mean:.2f} s on a worker (up to {most:.2f} s), {found.send:.3f} s to send, "
        f"{found.keep:.3f} s to keep, {found.megabytes:.1f} MB there and back"
    )
    for cores in (1, CORES):
        for speed in GIGABITS:
            took = simulated(found, VISITS, cores, speed) / 60
            print(f"by simulation, {VISITS} visits on {cores} cores, {speed} Gbit/s: {took:.0f} minutes")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument(
        "visits", nargs="?", type=int, default=200, help="of the largest batch; 200 take 10 minutes"
    )
    parser.add_argument(
        "--cost", action="store_true", help="leave out what the clock alone tells: a machine in use"
    )
    asked = parser.parse_args()
    main(asked.visits, cost_only=asked.cost)
