"""Kills a program amid each thing it does to records, and looks at what the next one finds.

Run: python tests/record/kills.py [--kills 200] [--only add] [--server postgresql://user@host/database]

A child is forked that does one thing; it is killed at moments spread over the whole of it and a little
beyond. Then records are opened as the next program would: nothing finished may be lost, nothing may be half
there, and no file may be left over.  With a server, its database is emptied first.
"""

from __future__ import annotations

import argparse
import io
import os
import signal
import sqlite3
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from PIL import Image  # noqa: E402
from record_models import model_of_visit  # noqa: E402

from digitise.capture.photo.photograph import remove_metadata  # noqa: E402
from digitise.care.safety.answers import ArterialCheck, SafetyAnswers  # noqa: E402
from digitise.errors import RecordError  # noqa: E402
from digitise.record.backup import restore, write_backup  # noqa: E402
from digitise.record.database import connect  # noqa: E402
from digitise.record.migrations import schema  # noqa: E402
from digitise.record.store import Store  # noqa: E402
from digitise.record.values import NewVisit  # noqa: E402
from digitise.tape.rows import TapeRow  # noqa: E402
from digitise.unfinished import PREFIX, unfinished_folder  # noqa: E402

OLD = Path(__file__).parents[1] / "data/record/form-0001.sql"
_AGAIN = 5
_FIRST, _TIMED_EVERY = 3, 10
_ENOUGH = 100  # kills, to tell by how many were finished whether the moments lay over the whole
BEYOND = 1.2
"""Moments are spread over this many times of how long the thing takes."""


class Lost(AssertionError):  # noqa: N818  # what it is, not an error
    """Something finished is gone, something is half there, or a file is left."""


def picture(number: int) -> bytes:
    """A small photograph, another one for each number."""
    noise = np.random.default_rng(number).integers(0, 255, (24, 32, 3), dtype=np.uint8)
    stream = io.BytesIO()
    Image.fromarray(noise).resize((640, 480), Image.Resampling.NEAREST).save(stream, "JPEG", quality=90)
    return stream.getvalue()


@dataclass
class Bench:
    """A place for records, files beside it, and what was finished so far."""

    place: str
    folder: Path
    finished: dict[int, NewVisit] = field(default_factory=dict)
    count: int = 0

    def visit(self, client: str = "K-017") -> NewVisit:
        """A visit with everything in it, another one each time."""
        self.count += 1
        path = self.folder / f"photo-{self.count}.jpg"
        path.write_bytes(picture(self.count))
        rows = tuple(TapeRow(100.0 * row, 200.0 + self.count % 100 + row, row) for row in range(1, 6))
        return NewVisit(
            client,
            "leg",
            "left",
            datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=self.count),
            rows,
            photos=(path,),
            model=model_of_visit(made_from=(path,), tape=rows, filling=self.count.to_bytes(4, "big")),
            corrections={1: '{"format": "outline-correction/1"}'},
            note=str(self.count),
        )

    def add(self, client: str = "K-017") -> int:
        """Store a visit, to be found again whatever is killed."""
        visit = self.visit(client)
        with Store(self.place) as store:
            number = store.add_visit(visit)
        self.finished[number] = visit
        return number

    def look(self) -> dict[int, NewVisit]:
        """Open the records as the next program does, check them, and return the visits that are there."""
        with Store(self.place) as store:
            store._database.check()
            there = [line.id for line in store.list_visits()]
            lost = self.finished.keys() - set(there)
            if lost:
                raise Lost(f"visits {sorted(lost)} are lost")
            # of many that were looked at before, some are looked at again: the last ones, and by turns
            known = list(self.finished)
            again = {*known[-_AGAIN:], *known[self.count % _AGAIN :: max(_AGAIN, len(known) // _AGAIN)]}
            found = {n: stored_visit(store, n) for n in there if n in again or n not in self.finished}
        for number in again:
            same(found[number], self.finished[number])
        self.no_files()
        return found

    def no_files(self, allowed: tuple[str, ...] = ()) -> None:
        """Fail when a file is left that nobody needs."""
        left = list(unfinished_folder().glob("*"))
        left += list(self.folder.rglob(f"{PREFIX}*"))
        if "://" not in self.place:
            known = ("records.sqlite", "records.sqlite-wal", "records.sqlite-shm", *allowed)
            left += [path for path in Path(self.place).parent.iterdir() if path.name not in known]
        if left:
            raise Lost(f"files are left: {left}")


def stored_visit(store: Store, number: int) -> NewVisit:
    """Return a stored visit as it would be given; photographs and model check their digests."""
    visit = store.load_visit(number)
    photos = tuple(store.photo(number, photo.number) for photo in visit.photos)
    return NewVisit(
        visit.client, visit.limb, visit.side, visit.taken, visit.tape, photos=photos,
        model=store.model(number) if visit.has_model else None, corrections=dict(visit.corrections),
        note=visit.note,
    )  # fmt: skip


def same(found: NewVisit, wanted: NewVisit) -> None:
    """Fail unless a stored visit is the one that was given, whole."""
    if found != replace(wanted, photos=tuple(remove_metadata(path) for path in wanted.photos)):
        raise Lost(f"visit {wanted.note} is half there")


@dataclass(frozen=True)
class Thing:
    """One thing that is done to records.

    ``prepare`` returns what is done, ``check`` what of it is there afterwards; it is told whether it was
    finished.
    """

    prepare: Callable[[Bench], Callable[[], None]]
    check: Callable[[Bench, bool], bool]


def add() -> Thing:
    """Store a visit."""
    last: list[NewVisit] = []

    def prepare(bench: Bench) -> Callable[[], None]:
        last[:] = [bench.visit()]

        def do() -> None:
            with Store(bench.place) as store:
                store.add_visit(last[0])

        return do

    def check(bench: Bench, finished: bool) -> bool:
        new = {number: visit for number, visit in bench.look().items() if number not in bench.finished}
        if len(new) > 1 or (finished and not new):
            raise Lost(f"{len(new)} visits instead of one")
        for number, visit in new.items():
            same(visit, last[0])
            bench.finished[number] = last[0]
        return bool(new)

    return Thing(prepare, check)


def replaced() -> Thing:
    """Put a visit in the place of another."""
    last: list[tuple[int, NewVisit, NewVisit]] = []

    def prepare(bench: Bench) -> Callable[[], None]:
        if not bench.finished:
            bench.add()
        number = next(iter(bench.finished))
        new = bench.visit()
        last[:] = [(number, bench.finished.pop(number), new)]

        def do() -> None:
            with Store(bench.place) as store:
                store.replace_visit(number, new)

        return do

    def check(bench: Bench, finished: bool) -> bool:
        number, before, after = last[0]
        found = bench.look()  # it is not among the finished ones now, and so is read
        if number not in found:
            raise Lost("the visit is gone")
        changed = found[number].note == after.note
        if finished and not changed:
            raise Lost("the change is lost")
        same(found[number], after if changed else before)
        bench.finished[number] = after if changed else before
        return changed

    return Thing(prepare, check)


def answered() -> Thing:
    """Put safety answers in the place of others: conditions and checks change together, or not at all."""
    last: list[SafetyAnswers] = []

    def answers(number: int) -> SafetyAnswers:
        day = date(2026, 1, 1) + timedelta(days=number % 100)
        checks = tuple(ArterialCheck("toe-pressure", float(n), day, "left") for n in range(number % 5, 9))
        return SafetyAnswers(conditions=(("bypass", True),), conditions_asked=day, arterial=checks)

    def prepare(bench: Bench) -> Callable[[], None]:
        if not bench.finished:
            bench.add()
        with Store(bench.place) as store:
            before = replace(store.safety("K-017"), signs=(), signs_asked=None)
        bench.count += 1
        last[:] = [before, answers(bench.count)]

        def do() -> None:
            with Store(bench.place) as store:
                store.save_safety("K-017", last[1])

        return do

    def check(bench: Bench, finished: bool) -> bool:
        bench.look()
        with Store(bench.place) as store:
            found = store.safety("K-017")
        if found not in last or (finished and found != last[1]):
            raise Lost("the answers are lost or half there")
        return found == last[1]

    return Thing(prepare, check)


def forgotten() -> Thing:
    """Forget a client of three visits."""
    visits: dict[int, NewVisit] = {}

    def prepare(bench: Bench) -> Callable[[], None]:
        if not bench.finished:
            bench.add("K-001")  # somebody else, who must stay
        visits.clear()
        for _ in range(3):
            number = bench.add("G-9")
            visits[number] = bench.finished.pop(number)

        def do() -> None:
            with Store(bench.place) as store:
                store.forget("G-9")

        return do

    def check(bench: Bench, finished: bool) -> bool:
        found = bench.look()
        there = visits.keys() & found.keys()
        if there and (finished or there != visits.keys()):
            raise Lost(f"{len(there)} of {len(visits)} visits are left")
        for number in there:
            same(found[number], visits[number])
        with Store(bench.place) as store:
            try:
                store.forget("G-9")  # finishes what was cut short: the space is wiped
            except RecordError:
                if there:
                    raise
        if "://" not in bench.place:
            held = b"".join(path.read_bytes() for path in Path(bench.place).parent.iterdir())
            if b"G-9" in held:
                raise Lost("the client's code is left in the file")
        bench.look()
        return not there

    return Thing(prepare, check)


def backed_up() -> Thing:
    """Write a backup."""

    def prepare(bench: Bench) -> Callable[[], None]:
        while len(bench.finished) < 3:
            bench.add()
        (bench.folder / "b.zip").unlink(missing_ok=True)

        def do() -> None:
            with Store(bench.place) as store:
                store.backup(bench.folder / "b.zip")

        return do

    def check(bench: Bench, finished: bool) -> bool:
        bench.look()
        path = bench.folder / "b.zip"
        if not path.exists():
            if finished:
                raise Lost("the backup is lost")
            return False
        again = Bench(str(bench.folder / "again/records.sqlite"), bench.folder, bench.finished)
        restore(path, again.place)
        try:
            again.look()
        finally:
            for item in Path(again.place).parent.iterdir():
                item.unlink()
        return True

    return Thing(prepare, check)


def migrated() -> Thing:
    """Bring records of the first form forward."""

    def prepare(bench: Bench) -> Callable[[], None]:
        empty(bench.place)
        bench.finished.clear()
        old = bench.folder / "old.zip"
        if not old.exists():
            _write_old(old)
        head, schema.HEAD = schema.HEAD, "0001"
        try:
            restore(old, bench.place)
        finally:
            schema.HEAD = head

        def do() -> None:
            Store(bench.place).close()

        return do

    def check(bench: Bench, finished: bool) -> bool:
        database = connect(bench.place)
        with database.reading() as session:
            done = schema.version_of(session.connection(), "") == schema.HEAD
        database.close()
        if finished and not done:
            raise Lost("the migration is lost")
        with Store(bench.place) as store:
            clients = [client.code for client in store.list_clients()]
            if clients != ["B-2", "K-017"] or store.load_visit(3).note != "first form":
                raise Lost("the old records are not all there")
            store.photo(3, 1), store.model(3)
            store._database.check()
            copies = sorted(path.name for path in _home(bench).glob("*-before-*.zip"))
        if len(copies) > 1:
            raise Lost(f"copies are left: {copies}")
        bench.no_files(tuple(copies))
        return done

    return Thing(prepare, check)


def _home(bench: Bench) -> Path:
    return unfinished_folder().parent if "://" in bench.place else Path(bench.place).parent


def _write_old(path: Path) -> None:
    with tempfile.TemporaryDirectory() as scratch:
        file = Path(scratch) / "old.sqlite"
        with sqlite3.connect(file) as connection:
            connection.executescript(OLD.read_text())
        connection.close()
        database = connect(file)
        write_backup(database, path)
        database.close()


def empty(place: str) -> None:
    """Have no records in a place."""
    if "://" in place:
        import psycopg

        with psycopg.connect(place, autocommit=True) as connection:
            connection.execute("DROP SCHEMA public CASCADE; CREATE SCHEMA public")
        return
    for path in Path(place).parent.glob("records*"):
        path.unlink()


THINGS = {
    "add": add,
    "replace": replaced,
    "answer": answered,
    "forget": forgotten,
    "backup": backed_up,
    "migrate": migrated,
}


def killed(do: Callable[[], None], after_s: float | None) -> tuple[bool, float]:
    """Do something in a child, kill it after a while (never when None); tell if it finished, and its time."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.write(writing, b"b")
            do()
            os.write(writing, b"d")
        finally:
            os._exit(0)
    os.close(writing)
    os.read(reading, 1)
    started = time.perf_counter()
    if after_s is not None:
        time.sleep(after_s)
        os.kill(child, signal.SIGKILL)
    finished = os.read(reading, 1) == b"d"
    took = time.perf_counter() - started
    os.waitpid(child, 0)
    os.close(reading)
    return finished, took


def round_of(name: str, place: str, folder: Path, kills: int, seed: int = 1) -> Counter[str]:
    """Kill one thing so many times; return how often it was there afterwards, finished, and amid.

    Raises
    ------
    Lost
        At the first thing that is not as it must be, with its number.
    """
    rng = np.random.default_rng(seed)
    order = rng.permutation((np.arange(kills) + rng.random(kills)) / max(kills, 1))
    thing, bench, counts = THINGS[name](), Bench(place, folder), Counter(kills=0)
    empty(place)
    times: list[float] = []
    for number in range(_FIRST + kills + kills // _TIMED_EVERY):
        do = thing.prepare(bench)
        # what is timed is not killed: how long it takes changes with what else the computer does
        timed = number < _FIRST or (number - _FIRST) % (_TIMED_EVERY + 1) == _TIMED_EVERY
        # the moments stand evenly over the whole, in random order
        share = order[counts["kills"]] if not timed else 0.0
        after = None if timed else share * BEYOND * statistics.median(times[-_FIRST:])
        finished, took = killed(do, after)
        try:
            there = thing.check(bench, finished)
        except (Lost, RecordError) as error:
            raise Lost(f"{name}, kill {number} after {after}: {error}") from error
        if after is None:
            times.append(took)
            continue
        counts["kills"] += 1
        counts["finished"] += finished
        counts["there"] += there
        counts["amid"] += not finished
    return counts


def main() -> None:
    """Print a line for each thing; the exit code tells whether anything was lost."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--only", choices=sorted(THINGS))
    parser.add_argument("--server")
    asked = parser.parse_args()
    failed = False
    for name in THINGS if asked.only is None else [asked.only]:
        with tempfile.TemporaryDirectory(prefix="kills-") as scratch:
            os.environ["XDG_DATA_HOME"] = f"{scratch}/data"
            folder = Path(scratch) / "files"
            (folder / "again").mkdir(parents=True)
            (Path(scratch) / "r").mkdir()
            place = asked.server or f"{scratch}/r/records.sqlite"
            started = time.perf_counter()
            try:
                counts = round_of(name, place, folder, asked.kills)
                # a sixth of the moments lies beyond the end: with none finished, or all, they lay elsewhere
                failed |= asked.kills >= _ENOUGH and not 0 < counts["finished"] < counts["kills"]
                print(name, dict(counts), f"{time.perf_counter() - started:.0f} s", flush=True)
            except Lost as error:
                failed = True
                print(name, "LOST:", error, flush=True)
    sys.exit(failed)


if __name__ == "__main__":
    main()
