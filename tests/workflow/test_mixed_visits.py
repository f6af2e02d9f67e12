"""Photographs of different visits together: none gives a volume without a word that names the mismatch."""

from datetime import datetime
from itertools import combinations

import pytest
from conftest import CASES

from digitise.capture.photo import photograph
from digitise.capture.sheets.field import read_field
from digitise.errors import ContradictionError, PhotoError
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb

pytestmark = pytest.mark.slow

NOON = datetime(2026, 3, 1, 12, 0)
# those that were taken before the same sheets; the last two are one limb at two visits
VISITS = ("walk-light", "pair-calf-week0", "pair-calf-week3")
MIXED = [
    (first, second, one, other)
    for first, second in combinations(VISITS, 2)
    for one, other in ((1, 2), (2, 1), (1, 1), (2, 2))
]
NAMED = {"sheets-moved", "hem", "limb-top", "skin-colour", "visit-times"}


def home(name):
    return CASES[name] / name


def told(photos, visit, tape):
    """Measure photographs with one visit's sheets and tape: why it is refused, or what is warned of."""
    try:
        found = measure_limb(photos, read_field(home(visit) / "field.json"), tape)
    except (ContradictionError, PhotoError) as error:
        return str(error), set()
    return "", {finding.code for finding in found.findings if finding.severity != "note"}


@pytest.fixture(params=["absent", "equal", "as they are"])
def times(request, monkeypatch):
    """When the photographs say that they were taken."""
    if request.param != "as they are":
        taken = None if request.param == "absent" else NOON
        monkeypatch.setattr(photograph, "time_taken", lambda _data: taken)
    return request.param


def named(photos, visit):
    """Assert that a mixture is refused or named with a visit's tape; return whether no tape was needed."""
    why, warned = told(photos, visit, read_tape(home(visit) / "tape.csv"))
    alone = "belong together" in why
    assert alone or "another visit" in why or "contradict" in why or warned & NAMED, (why, warned)
    return alone


@pytest.mark.parametrize(("first", "second", "one", "other"), MIXED)
def test_photographs_of_two_visits_are_refused_or_named(times, first, second, one, other):
    photos = [home(first) / f"photo-{one}.jpg", home(second) / f"photo-{other}.jpg"]
    # what photographs alone refuse, no tape makes whole; times count alike in either order
    alone = named(photos, first)
    if times == "absent":
        alone or named(photos, second)
        named(photos[::-1], first) or named(photos[::-1], second)


@pytest.mark.parametrize("name", VISITS)
def test_photographs_of_one_visit_pass(times, name):
    photos = [home(name) / "photo-1.jpg", home(name) / "photo-2.jpg"]
    assert told(photos, name, read_tape(home(name) / "tape.csv"))[0] == ""
