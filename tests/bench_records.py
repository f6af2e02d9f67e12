"""Prints how long records take with many visits, and how much memory an export needs.

Run: python tests/bench_records.py [VISITS]
"""

import hashlib
import resource
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from digitise.record.check import ReadyVisit
from digitise.record.export import export_client
from digitise.record.saving import save_visit
from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.tape.rows import TapeRow

CLIENTS = 200
PHOTO_BYTES = 3_000_000
START = datetime(2025, 1, 1, tzinfo=UTC)


def ready(number: int, client: str, photos: list[bytes]) -> ReadyVisit:
    """A visit past checking and stripping, which other figures tell of."""
    limb = np.random.default_rng(number).bytes(20_000)
    head = '{"format": "limb-model/1", "limb": "leg", "side": "left", "filling": "' + "x" * 8_000 + '"}'
    visit = NewVisit(
        client=client,
        limb="leg",
        side="left",
        taken=START + timedelta(hours=number),
        tape=tuple(TapeRow(100.0 * row, 200.0 + row) for row in range(1, 6)),
        photos=tuple(Path("photo.jpg") for _ in photos),
        model=ModelFiles(head, b"PK" + limb),
    )
    return ReadyVisit(visit, client, "", {hashlib.sha256(data).hexdigest(): data for data in photos})


def fill(store: Store, visits: int) -> None:
    """Store small visits of many clients, 500 in one transaction."""
    for first in range(0, visits, 500):
        with store._database.writing() as session:
            for number in range(first, min(first + 500, visits)):
                save_visit(session, ready(number, f"C-{number % CLIENTS}", []))


def timed(what: str, action, repeats: int = 5) -> None:
    """Print the best and the worst of some runs."""
    times = []
    for _ in range(repeats):
        started = time.perf_counter()
        action()
        times.append(time.perf_counter() - started)
    print(f"{what:<46} {min(times) * 1000:8.1f} to {max(times) * 1000:.1f} ms")


def peak_of_export(folder: Path, visits: int) -> float:
    """Return the peak memory in MB of a process that exports a client with large photographs."""
    place = folder / f"large-{visits}.sqlite"
    rng = np.random.default_rng(visits)
    with Store(place) as store:
        for number in range(visits):
            with store._database.writing() as session:
                save_visit(session, ready(number, "L-1", [rng.bytes(PHOTO_BYTES) for _ in range(2)]))
    command = [sys.executable, __file__, "--export", str(place), str(folder / f"out-{visits}")]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def main(visits: int) -> None:
    """Print all figures."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        place = folder / "records.sqlite"
        with Store(place) as store:
            timed(f"store {visits} visits", lambda: fill(store, visits), 1)
            print(f"file {place.stat().st_size / 1e6:.0f} MB")
        timed("open the records", lambda: Store(place).close())
        with Store(place) as store:
            client = [line.id for line in store.list_visits("C-7")]
            timed("list all clients", store.list_clients)
            timed("list all visits", store.list_visits)
            timed("list the visits of one client", lambda: store.list_visits("C-7"))
            timed("open one visit", lambda: store.load_visit(client[0]))
            timed(f"models of one client ({len(client)} visits)", lambda: [store.model(v) for v in client])
            timed("backup", lambda: store.backup(folder / f"{time.time_ns()}.zip"), 1)
            timed("forget one client", lambda: store.forget("C-7"), 1)
        for count in (5, 50):
            size = count * 2 * PHOTO_BYTES / 1e6
            peak = peak_of_export(folder, count)
            print(f"export of {size:4.0f} MB in {count} visits: peak memory {peak:.0f} MB")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--export"]:
        with Store(sys.argv[2]) as opened:
            export_client(opened, "L-1", Path(sys.argv[3]))
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
