"""Two visits from photographs to change, against the true surfaces."""

import numpy as np
import pytest
from conftest import CASES, Case
from greatest_change import greatest_change_height

from digitise.capture.sheets.field import read_field
from digitise.care.change.compare import ChangeVerdict, GirthChange, compare
from digitise.shape.limb import Estimate
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb

LOW, HIGH = 100.0, 820.0
WEEKS = ("pair-calf-week0", "pair-calf-week3")


def measured(case):
    tape = read_tape(case.tape)
    found = measure_limb(case.photos, read_field(case.field), tape, from_mm=LOW, to_mm=HIGH)
    return found.fit.limb


@pytest.fixture(scope="module")
def weeks():
    cases = [Case(name, CASES[name] / name) for name in WEEKS]
    return compare(*(measured(case) for case in cases)), [case.truth["sections"] for case in cases]


def true_change(sections, key, z):
    first, second = (np.array([(row["height"], row[key]) for row in rows]) for rows in sections)
    return np.interp(z, *second.T) - np.interp(z, *first.T)


@pytest.mark.slow
def test_change_of_volume(weeks):
    change, sections = weeks
    z = np.arange(LOW, HIGH + 1)
    true = float(np.trapezoid(true_change(sections, "area", z), z)) / 1000
    # the bar for a pair of visits: 0.7 % of the limb's volume
    assert abs(float(change.whole.change_ml.mean) - true) < 0.007 * change.whole.volumes.mean[0]
    low, high = change.whole.change_ml.interval_95
    assert low < true < high
    assert change.whole.verdict == ChangeVerdict.SMALLER


@pytest.mark.slow
def test_change_of_every_segment(weeks):
    change, sections = weeks
    for part in change.parts:
        z = np.linspace(part.segment.low, part.segment.high, 401)
        low, high = part.change_ml.interval_95
        assert low < np.trapezoid(true_change(sections, "area", z), z) / 1000 < high


@pytest.mark.slow
def test_place_of_the_greatest_change(weeks):
    change, sections = weeks
    # the calf's swelling went down most; its place is wanted within 15 mm
    z = change.girths.height_mm
    true = GirthChange(z, Estimate(true_change(sections, "hull_perimeter", z), np.zeros_like(z)), ())
    found = greatest_change_height(change.girths, 250, 550)
    assert abs(found - greatest_change_height(true, 250, 550)) <= 15
