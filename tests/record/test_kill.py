"""Killed while saving, at random moments: every finished visit is there whole, and none half."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from sqlalchemy import text

from digitise.record.store import Store

from .conftest import small_photo
from .saver import WARM_UP, limb_bytes, numbered_visit

KILLS = 200
SAVES = 4.0
"""Longest time from the fork to the kill, in times of saving one visit; a child's first takes longer."""

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


@pytest.fixture
def saver(place, tmp_path):
    """Start the program that saves; it has imported everything, so that a child saves at once."""
    (tmp_path / "template.jpg").write_bytes(small_photo(1))
    command = [sys.executable, str(Path(__file__).parent / "saver.py"), place, "template.jpg"]
    with subprocess.Popen(
        command, cwd=tmp_path, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield process
        process.stdin.close()


def kill_once(saver, number: int, after_s: float) -> tuple[set[int], set[int]]:
    """Let a child save from ``number`` on, kill it; return the numbers begun and those finished."""
    saver.stdin.write(f"{number}\n")
    saver.stdin.flush()
    said = {"begin": set(), "kept": set()}
    child = None
    for line in saver.stdout:
        word, *rest = line.split()
        if word == "child":
            child = int(rest[0])
            time.sleep(after_s)
            os.kill(child, signal.SIGKILL)
        elif word == "dead":
            return said["begin"], said["kept"]
        else:
            said[word].add(int(rest[0]))
    raise AssertionError("the saving program ended")


def time_to_save(saver) -> float:
    """Return how long the program takes for one visit, on this machine with whatever else it does."""
    return next(float(line.split()[1]) for line in saver.stdout if line.startswith("takes"))


def check_whole(store, visit_id) -> int:
    """Compare a stored visit with what belongs to its number; photographs and model check their digests."""
    visit = store.load_visit(visit_id)
    number = int(visit.note)
    wanted = numbered_visit(number, ())
    assert (visit.client, visit.taken, visit.tape) == (wanted.client, wanted.taken, wanted.tape)
    assert dict(visit.corrections) == wanted.corrections
    assert store.model(visit_id).limb == limb_bytes(number)
    assert len(visit.photos) == 1
    assert len(store.photo(visit_id, 1)) == visit.photos[0].bytes
    return number


@pytest.mark.slow
def test_no_visit_is_lost_or_half(saver, place, rng):
    finished, stored, amid, number = set(range(WARM_UP)), {}, 0, WARM_UP
    for after_s in rng.uniform(0.0, SAVES * time_to_save(saver), KILLS):
        begun, kept = kill_once(saver, number, after_s)
        finished |= kept
        amid += bool(begun - kept)
        with Store(place, create=False) as store:
            for line in store.list_visits():
                if line.id not in stored:
                    stored[line.id] = check_whole(store, line.id)
        assert finished <= set(stored.values())
        number = max({number - 1, *begun}) + 1
    assert len(set(stored.values())) == len(stored)
    assert len(stored) - len(finished) <= amid  # safe on the disk, killed before it could say so
    # the moments were before, amid and after saves, or the test would show nothing
    assert amid >= KILLS / 4
    assert len(finished) >= KILLS / 4
    with Store(place) as store, store._database.reading() as session:
        store._database.check()
        for table in ("photographs", "visit_photographs", "models", "corrections"):
            assert session.scalar(text(f"SELECT count(*) FROM {table}")) == len(stored)
    print(f"{KILLS} kills, {amid} amid saving, {len(finished)} finished, {len(stored)} stored")
