"""Mutated files of every kind: read rightly or refused in words, at once.

Run: python tests/fuzz.py [--cases 20000] [--seed 1] [--only tape]

Files are changed with knowledge of their structure and as bytes.  Counted are errors that are not for people
(tracebacks), cases that take longer than two seconds of processor time, and wrong numbers: some of what is
read from a changed file of girths, sheets or lens is measured with exact corners and edges, and a volume that
differs from the unchanged one by more than its interval, without a warning that the unchanged one has not, is
wrong.  A model must be the one that was written, and a restored backup the records that were backed up,
unless its seal was made anew.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

import fuzz_ends
import fuzz_forms
import fuzz_kinds
from fuzz_kinds import Wrong

from digitise.errors import DigitiseError

KINDS = fuzz_kinds.KINDS | fuzz_ends.KINDS | fuzz_forms.KINDS
SLOW_S = 2.0
Kind = Callable[[np.random.Generator, Path], str]


@dataclass
class Tally:
    """What came of the cases of one kind."""

    outcomes: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    failures: list[str] = field(default_factory=list)

    def line(self, name: str) -> str:
        """Return one line of the table."""
        counts = self.outcomes
        return (
            f"{name:<12}{sum(counts.values()):>7}{counts['read']:>8}{counts['refused']:>9}"
            f"{counts['traceback']:>11}{counts['wrong']:>7}{counts['slow']:>6}{self.slowest_s:>10.2f} s"
        )


def one_case(kind: Kind, rng: np.random.Generator, scratch: Path, tally: Tally, label: str) -> None:
    """Run one case and count what came of it."""
    started = time.process_time()
    try:
        outcome = kind(rng, scratch)
    except DigitiseError as error:
        outcome = "refused"
        if not error.what or len(str(error)) > 3000:
            outcome = "traceback"
            tally.failures.append(f"{label}: a message that cannot be read: {str(error)[:200]!r}")
    except Wrong as wrong:
        outcome = "wrong"
        tally.failures.append(f"{label}: {wrong}")
    except Exception:
        outcome = "traceback"
        tally.failures.append(f"{label}: {traceback.format_exc(limit=-4)}")
    took = time.process_time() - started
    tally.outcomes[outcome] += 1
    tally.slowest_s = max(tally.slowest_s, took)
    if took > SLOW_S:
        tally.outcomes["slow"] += 1
        tally.failures.append(f"{label}: took {took:.1f} s")


def run(
    cases: int, seed: int, only: Collection[str] = (), report: Callable[[str], None] = print
) -> dict[str, Tally]:
    """Run so many cases, shared among the kinds by their weights; return a tally for each kind."""
    chosen = {name: kind for name, kind in KINDS.items() if not only or name in only}
    whole = sum(kind.weight for kind in chosen.values())
    tallies = {}
    for name, kind in chosen.items():
        tally = tallies[name] = Tally()
        check = kind.make()
        with tempfile.TemporaryDirectory(prefix="fuzz-") as scratch:
            for number in range(max(1, round(cases * kind.weight / whole))):
                # a generator for each case, so that a single one can be run again
                rng = np.random.default_rng([seed, *name.encode(), number])
                one_case(check, rng, Path(scratch), tally, f"{name} {number}")
        report(tally.line(name))
    return tallies


def main() -> None:
    """Print a table and the failures; the exit code tells whether there were any."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=sorted(KINDS), nargs="*", default=())
    asked = parser.parse_args()
    print(
        f"{'':<12}{'cases':>7}{'read':>8}{'refused':>9}{'traceback':>11}{'wrong':>7}{'slow':>6}{'slowest':>12}"
    )
    tallies = run(asked.cases, asked.seed, asked.only, lambda line: print(line, flush=True))
    failures = [failure for tally in tallies.values() for failure in tally.failures]
    print(f"{len(failures)} failures", *failures[:40], sep="\n")
    sys.exit(bool(failures))


if __name__ == "__main__":
    main()
