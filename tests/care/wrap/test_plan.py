"""A plan.toml of any shape is read or refused at once."""

import time

import pytest

from digitise.care.wrap.plan import plan_from_toml, plan_to_toml
from digitise.errors import PlanError

LONG = 90_000
SLOW = {
    "dotted name": b"a." * (LONG // 2) + b"a = 1",
    "dotted name with spaces": b"a . " * (LONG // 4) + b"a = 1",
    "dotted name in quotes": b'"a".' * (LONG // 4) + b"a = 1",
    "dotted table": b"[" + b"a." * (LONG // 2) + b"a]",
    "dotted name within a table": b"x = {" + b"a." * (LONG // 2) + b"a = 1}",
    "one long name": b"a" * LONG + b" = 1",
    "one long name without end": b"a" * LONG,
    "quotes without end": b'"' * LONG,
    "brackets": b"x = " + b"[" * LONG,
    "braces": b"x = " + b"{a=" * (LONG // 3),
    "many tables": b"".join(b"[a%d]\n" % n for n in range(LONG // 10)),
    "many layers": b"[[layers]]\n" * (LONG // 11),
    "a long number": b"roll_length_mm = " + b"9" * LONG,
    "many names": b"".join(b"a%d = 1\n" % n for n in range(LONG // 12)),
    "names that deepen": b"".join(b"[" + b"a." * n + b"a]\n" for n in range(19)) * 100,
}


@pytest.mark.parametrize("name", SLOW)
def test_no_plan_takes_long(name):
    started = time.process_time()
    with pytest.raises(PlanError) as refused:
        plan_from_toml(SLOW[name])
    assert refused.value.do
    # seconds of this process's own; 20 before, and 2 is what a command may take
    assert time.process_time() - started < 2


def test_dots_in_numbers_words_and_remarks_are_no_names():
    text = '# ....................................\n[[layers]]\nname = "1.2.3.4.5 first ... second"\n'
    text += "width_mm = 80.0\n"
    text += "from_mm = 100.0\nto_mm = 340.0\noverlap = 0.5\nstretch = 0.3\ntension_n = 5.0\n"
    plan = plan_from_toml(text.encode())
    assert plan_from_toml(plan_to_toml(plan).encode()) == plan
