"""Saves visits until it is killed.  For each number on stdin a child is forked that goes on from there.

A child says ``begin N`` before and ``kept N`` after saving visit N; the parent says ``child PID`` and
``dead``.  The parent saves some visits first and tells how long one ``takes``: a child is warm.
Imported as a module it gives the visit that belongs to a number.
"""

import itertools
import os
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from record_models import model_of_visit

from digitise.record.store import Store
from digitise.record.values import ModelFiles, NewVisit
from digitise.tape.rows import TapeRow

WARM_UP = 8


def numbered_visit(number: int, photos: tuple[Path, ...]) -> NewVisit:
    """A visit with everything in it, told by its note; the limb is large, so that saving takes its time."""
    return NewVisit(
        client=f"K-{number % 3}",
        limb="leg",
        side="left",
        taken=datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=number),
        tape=girths(number),
        photos=photos,
        model=limb_model(number, photos),
        corrections={1: '{"format": "outline-correction/1"}'},
        note=str(number),
    )


def limb_model(number: int, photos: tuple[Path, ...]) -> ModelFiles:
    """The model of a visit; its limb tells the number."""
    return model_of_visit(made_from=photos, tape=girths(number), filling=number.to_bytes(4, "big"))


def girths(number: int) -> tuple[TapeRow, ...]:
    return tuple(TapeRow(100.0 * row, 200.0 + number % 100 + row, row) for row in range(1, 6))


def numbered_photo(template: bytes, number: int) -> bytes:
    """The template with another last byte pair before the end marker: another picture, nearly for free."""
    high, low = divmod(number % 60_000, 250)
    return template[:-4] + bytes((high, low)) + template[-2:]


def _save(store: Store, template: bytes, number: int) -> None:
    path = Path("photo.jpg")
    path.write_bytes(numbered_photo(template, number))
    os.write(1, f"begin {number}\n".encode())
    store.add_visit(numbered_visit(number, (path,)))
    os.write(1, f"kept {number}\n".encode())


if __name__ == "__main__":
    store, template = Store(sys.argv[1]), Path(sys.argv[2]).read_bytes()
    started = time.perf_counter()
    for number in range(WARM_UP):
        _save(store, template, number)
    os.write(1, f"takes {(time.perf_counter() - started) / WARM_UP}\n".encode())
    store.close()
    for line in sys.stdin:
        child = os.fork()
        if child == 0:
            for number in itertools.count(int(line)):
                _save(store, template, number)
        os.write(1, f"child {child}\n".encode())
        os.waitpid(child, 0)
        os.write(1, b"dead\n")
