"""Prints how long the tables of a study take, and how much memory: ``python tests/bench_study.py [VISITS]``.

The visits are small: synthetic models of 60 mm, two girths, no photographs.  Each form is written by a
process of its own, whose peak memory is printed.
"""

import json
import resource
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from study_records import keep, visit

from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.workflow.cohort import write_study

PER_LIMB = 10


def fill(place: Path, visits: int) -> None:
    """Store visits of many limbs, ten for each."""
    made = [visit("K-0", week, 1.0 - 0.01 * week) for week in range(PER_LIMB)]
    with Store(place) as store:
        for first in range(0, visits // PER_LIMB, 50):
            limbs = range(first, min(first + 50, visits // PER_LIMB))
            keep(store, *(_as(each, f"K-{client}") for client in limbs for each in made))


def _as(each: NewVisit, client: str) -> NewVisit:
    """The visit as another client's, without the limb's shape, which no table needs."""
    return replace(each, client=client, model=ModelFiles(each.model.json, b"PK"))


def main(visits: int) -> None:
    with tempfile.TemporaryDirectory() as name:
        place = Path(name) / "records.sqlite"
        fill(place, visits)
        print(f"{visits} visits, records of {place.stat().st_size / 1e6:.0f} MB")
        for form in ("csv", "parquet"):
            out = Path(name) / form
            command = [sys.executable, __file__, "--write", str(place), str(out), form]
            said = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            size = sum(path.stat().st_size for path in out.iterdir()) / 1e6
            print(
                f"{form}: {said['seconds']:.1f} s ({said['cpu']:.1f} s of processor), "
                f"peak memory {said['mb']:.0f} MB, {size:.0f} MB of files"
            )


def write(place: str, out: str, form: str) -> None:
    started = time.perf_counter()
    with Store(place, create=False) as store:
        write_study(store, Path(out), form=form)
    took = time.perf_counter() - started
    print(
        json.dumps(
            {
                "seconds": took,
                "cpu": time.process_time(),
                "mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
            }
        )
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["--write"]:
        write(*sys.argv[2:])
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
