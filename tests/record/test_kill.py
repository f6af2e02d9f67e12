"""A short round of kills amid everything that is done to records; the long one is ``python kills.py``."""

import os

import pytest

from .kills import THINGS, Bench, Lost, empty, round_of

KILLS = 5

pytestmark = [pytest.mark.slow, pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")]


@pytest.mark.parametrize("name", THINGS)
def test_nothing_is_lost_or_half_and_no_file_is_left(place, tmp_path, name):
    (tmp_path / "files/again").mkdir(parents=True)
    if "://" not in place:
        os.makedirs(os.path.dirname(place))
    counts = round_of(name, place, tmp_path / "files", KILLS)
    assert counts["kills"] == KILLS
    # amid the thing, or the test would show nothing
    assert counts["amid"] >= 1


def test_what_is_lost_half_or_left_is_found(place, tmp_path):
    """The looking itself: a visit that is gone, one that is another, a file too much."""
    if "://" not in place:
        os.makedirs(os.path.dirname(place))
    empty(place)
    bench = Bench(place, tmp_path)
    number = bench.add()
    bench.look()
    kept = bench.finished.pop(number)
    bench.finished[number + 1] = kept
    with pytest.raises(Lost, match="lost"):
        bench.look()
    bench.finished = {number: bench.visit()}
    with pytest.raises(Lost, match="half"):
        bench.look()
    bench.finished = {number: kept}
    (tmp_path / ".digitise-left").mkdir()
    with pytest.raises(Lost, match="files are left"):
        bench.look()
