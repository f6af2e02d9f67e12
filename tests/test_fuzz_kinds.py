"""A short round of the fuzz script over every kind of file; the long one is ``python tests/fuzz.py``."""

import fuzz
import pytest
from fuzz_kinds import Wrong, must_be_right, unchanged

CASES = 160


@pytest.mark.slow
def test_a_short_round_over_every_kind_of_file():
    tallies = fuzz.run(CASES, seed=20260101, report=lambda _: None)
    assert set(tallies) == set(fuzz.KINDS)
    assert [failure for tally in tallies.values() for failure in tally.failures] == []
    counts = sum((tally.outcomes for tally in tallies.values()), start=fuzz.Tally().outcomes)
    # both ways must occur, else the changes are too weak or too strong to show anything
    assert counts["refused"] > CASES / 4
    assert counts["read"] > CASES / 8


def test_a_wrong_number_and_a_traceback_are_counted(tmp_path):
    whole = unchanged()
    half_of_it = type(whole)(whole.value / 2, whole.low / 2, whole.high / 2, whole.warned)
    with pytest.raises(Wrong):
        must_be_right(half_of_it)
    warned = type(whole)(whole.value / 2, whole.low / 2, whole.high / 2, whole.warned | {"ratio-all"})
    assert must_be_right(warned) == "read"

    def fails(rng, scratch):
        raise KeyError("a fault of the program")

    tally = fuzz.Tally()
    fuzz.one_case(fails, None, tmp_path, tally, "one")
    fuzz.one_case(lambda *_: must_be_right(half_of_it), None, tmp_path, tally, "two")
    assert (tally.outcomes["traceback"], tally.outcomes["wrong"], len(tally.failures)) == (1, 1, 2)
