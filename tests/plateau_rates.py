"""How often the rule of levelling off errs, by simulation; prints the guide's table.

Weekly visits of a leg with an independent error of 1.4 % each.  Run: python tests/plateau_rates.py [runs]
"""

from __future__ import annotations

import sys
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np

from digitise.care.course.plateau import CourseVerdict, judge
from digitise.care.course.visits import RepeatError, VisitVolume
from digitise.shape.limb import Estimate

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
START_ML, VISITS = 9000.0, 10
WEEKS = np.arange(VISITS)
COURSES: Mapping[str, np.ndarray] = {
    "level from the first visit on": np.ones(VISITS),
    "8 % lost in the first week, then level": np.where(WEEKS == 0, 1.0, 0.92),
    "1 % lost a week": 0.99**WEEKS,
    "8 % lost in the first week, then 1 % a week": np.where(WEEKS == 0, 1.0, 0.92 * 0.99 ** (WEEKS - 1)),
    "2 % lost a week": 0.98**WEEKS,
    "1 % gained a week": 1.01**WEEKS,
}


def called_level(
    course: np.ndarray, sem_percent: float, runs: int, seed: int = 5, last: int = VISITS
) -> np.ndarray:
    """Return whether each simulated course is called level at each visit: (runs, visits)."""
    rng, error = np.random.default_rng(seed), RepeatError(sem_percent)
    found = np.zeros((runs, VISITS), bool)
    for run in range(runs):
        read = START_ML * course * (1 + sem_percent / 100 * rng.normal(size=VISITS))
        visits = [
            VisitVolume(START + timedelta(weeks=week), Estimate(float(ml), 0.02 * ml), 60.0, 400.0)
            for week, ml in enumerate(read)
        ]
        for count in range(4, last + 1):
            found[run, count - 1] = judge(visits[:count], error).verdict is CourseVerdict.LEVELLED_OFF
    return found


def main(runs: int) -> None:
    for sem in (1.4, 1.2, 0.7):
        print(f"\nError of one measurement {sem} %, {runs} courses each\n")
        print("| course | 4th | 5th | 6th | 7th | 8th | 10th | by the 6th | by the 8th | by the 10th |")
        print("|---|" + 9 * "---|")
        for name, course in COURSES.items():
            level = called_level(course, sem, runs)
            at = [level[:, n - 1].mean() for n in (4, 5, 6, 7, 8, 10)]
            by = [level[:, :n].any(axis=1).mean() for n in (6, 8, 10)]
            print(f"| {name} | " + " | ".join(f"{100 * share:.0f} %" for share in (*at, *by)) + " |")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
