"""What sharing visits between processes gains and costs: ``python tests/bench_batch.py [VISITS]``.

All figures are of one run on this machine: the throughput of two workers against one, what the engine adds
to the measuring itself, memory of a worker, and how time grows with the number of visits.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from conftest import CASES

from digitise.workflow.batch import measure_job, run_batch
from digitise.workflow.batch_table import MeasureJob

NAMES = ("walk-light", "turn-dark", "pair-calf-week0", "pair-calf-week3")


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


def seconds(count: int, workers: int) -> float:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        rows = run_batch(jobs(count, Path(folder)), Path(folder), workers=workers)
        took = time.perf_counter() - start
    assert all(row.status == "measured" for row in rows)
    return took


def main(count: int) -> None:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        for job in jobs(count, Path(folder)):
            measure_job(replace(job, out=str(Path(folder) / job.name)))
        plain = time.perf_counter() - start
    one, two = seconds(count, 1), seconds(count, 2)
    print(f"{count} visits: in one process {plain:.1f} s, one worker {one:.1f} s, two workers {two:.1f} s")
    print(f"two workers against one: {one / two:.2f} x; the engine adds {100 * (one / plain - 1):.1f} %")
    print(f"largest worker: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")
    for share in (0.25, 0.5, 1.0):
        part = max(1, round(share * count))
        took = seconds(part, 2)
        print(f"{part} visits, two workers: {took:.1f} s, {took / part:.2f} s each")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
