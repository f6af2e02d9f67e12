"""Forty clients: how urgent it is, what is withheld, and what is said."""

from datetime import UTC, date, datetime, timedelta

import pytest

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers, latest_signs
from digitise.care.safety.answers_file import answers_from_toml
from digitise.care.safety.arteries import ArterialLimits
from digitise.care.safety.assess import assess
from digitise.care.safety.release import release
from digitise.care.safety.signs import CONDITIONS, SIGNS, STEP_MARKS
from digitise.errors import SafetyError

TODAY = date(2026, 3, 16)
ALL = {"pad", "wrap", "garment"}
PRESSING = {"wrap", "garment"}
NO_SIGNS = tuple((sign.code, False) for sign in SIGNS)
NO_CONDITIONS = tuple((condition.code, False) for condition in CONDITIONS)


def check(kind="ankle-brachial", value=1.0, days_ago=14, side="both"):
    return ArterialCheck(kind, value, TODAY - timedelta(days=days_ago), side, "AB")


GOOD_CHECK = (check(),)


def answers(*there, clearance="yes", arterial=GOOD_CHECK, asked_days_ago=14, **instead):
    """All asked, nothing there but what is named."""
    signs = tuple((code, code in there) for code, _ in NO_SIGNS)
    conditions = tuple((code, code in there) for code, _ in NO_CONDITIONS)
    given = {
        "clearance": clearance,
        "signs": signs,
        "conditions": conditions,
        "conditions_asked": TODAY - timedelta(days=asked_days_ago),
        "arterial": arterial,
    }
    return SafetyAnswers(**{**given, **instead})


# answers, limb, step, withheld, findings by code (the first first), whether a wrap comes off
SITUATIONS = {
    "nothing open, leg": (answers(), "leg", "none", set(), [], False),
    "nothing open, arm without a check": (answers(arterial=()), "arm", "none", set(), [], False),
    "chest pain": (answers("chest-pain"), "leg", "emergency", ALL, ["chest-pain"], False),
    "breathless": (answers("breath"), "arm", "emergency", ALL, ["breath"], False),
    "coughs blood": (answers("coughing-blood"), "leg", "emergency", ALL, ["coughing-blood"], False),
    "fainted": (answers("fainting"), "arm", "emergency", ALL, ["fainting"], False),
    "chest pain and cold toes": (
        answers("cold", "chest-pain"), "leg", "emergency", ALL, ["chest-pain", "cold"], True,
    ),
    "calf pain": (answers("clot"), "leg", "today", ALL, ["clot"], False),
    "sudden swelling": (answers("fast-swelling"), "arm", "today", ALL, ["fast-swelling"], False),
    "hot and red": (answers("infection"), "arm", "today", ALL, ["infection"], False),
    "blue fingers": (answers("cold"), "arm", "today", ALL, ["cold"], True),
    "sudden weakness": (answers("weakness"), "arm", "today", ALL, ["weakness"], False),
    "a sign in a person's own words": (
        answers(signs=(*NO_SIGNS, ("hot-skin", True))), "arm", "today", ALL, ["hot-skin"], False,
    ),
    "pins and needles": (answers("wrap-pain"), "leg", "ask", ALL, ["wrap-pain"], True),
    "new lump": (answers("lump"), "arm", "ask", ALL, ["lump"], False),
    "leaking skin": (answers("skin"), "leg", "ask", ALL, ["skin"], False),
    "grows over weeks": (answers("growth"), "leg", "ask", ALL, ["growth"], False),
    "both legs and weight": (answers("both-growing"), "leg", "ask", ALL, ["both-growing"], False),
    "nobody knows why": (answers("unknown-cause"), "arm", "ask", ALL, ["unknown-cause"], False),
    "pregnant": (answers("pregnant"), "leg", "ask", ALL, ["pregnant"], False),
    "a child": (answers("child"), "arm", "ask", ALL, ["child"], False),
    "not cleared": (answers(clearance="no"), "arm", "ask", ALL, ["clearance"], False),
    "clearance not asked": (answers(clearance="not-asked"), "arm", "none", PRESSING, ["clearance"], False),
    "signs not asked": (answers(signs=()), "arm", "none", PRESSING, ["signs"], False),
    "conditions not asked": (
        answers(conditions=(), conditions_asked=None), "arm", "none", PRESSING, ["conditions"], False,
    ),
    "conditions asked a year ago": (answers(asked_days_ago=365), "arm", "none", set(), ["conditions"], False),
    "bypass under the wrap": (answers("bypass"), "leg", "ask", ALL, ["bypass"], False),
    "heart failure IV": (answers("heart-4"), "leg", "ask", ALL, ["heart-4"], False),
    "heart failure III": (answers("heart-3"), "arm", "ask", ALL, ["heart-3"], False),
    "no feeling": (answers("sensory-loss"), "leg", "ask", ALL, ["sensory-loss"], False),
    "allergic to foam": (answers("allergy"), "arm", "none", set(), ["allergy"], False),
    "no check of a leg": (answers(arterial=()), "leg", "none", PRESSING, ["arteries"], False),
    "check of the other leg only": (
        answers(arterial=(check(side="right"),)), "leg", "none", PRESSING, ["arteries"], False,
    ),
    "old check": (answers(arterial=(check(days_ago=181),)), "leg", "none", PRESSING, ["arteries"], False),
    "old and bad check": (
        answers(arterial=(check(value=0.5, days_ago=400),)), "leg", "ask", ALL, ["arteries"], False,
    ),
    "index 0.59": (answers(arterial=(check(value=0.59),)), "leg", "ask", ALL, ["arteries"], False),
    "index 0.79": (answers(arterial=(check(value=0.79),)), "leg", "ask", ALL, ["arteries"], False),
    "index 1.31": (answers(arterial=(check(value=1.31),)), "leg", "ask", ALL, ["arteries"], False),
    "toe pressure 29 beside a good index": (
        answers(arterial=(check(), check("toe-pressure", 29.0))), "leg", "ask", ALL, ["arteries"], False,
    ),
    "diabetes and an index": (
        answers("stiff-arteries"), "leg", "none", set(), ["stiff-arteries", "arteries"], False,
    ),
    "diabetes and a toe pressure": (
        answers("stiff-arteries", arterial=(check(), check("toe-pressure", 80.0))),
        "leg", "none", set(), ["stiff-arteries"], False,
    ),
    "pulses felt": (answers(arterial=(check("pulses", 1.0),)), "leg", "none", set(), ["arteries"], False),
    "pulses not felt": (answers(arterial=(check("pulses", 0.0),)), "leg", "ask", ALL, ["arteries"], False),
    "better since an operation": (
        answers(arterial=(check(value=0.5, days_ago=90), check(value=0.95, days_ago=10))),
        "leg", "none", set(), [], False,
    ),
    "infection, heart, no check": (
        answers("infection", "heart-3", arterial=()),
        "leg", "today", ALL, ["infection", "heart-3", "arteries"], False,
    ),
}  # fmt: skip


def test_there_are_forty():
    assert len(SITUATIONS) >= 40
    asked = {code for given, *_ in SITUATIONS.values() for code, there in given.signs if there}
    assert {sign.code for sign in SIGNS} <= asked


@pytest.mark.parametrize("name", SITUATIONS)
def test_situation(name):
    given, limb, step, withheld, codes, take_off = SITUATIONS[name]
    found = assess(given, limb, "left", TODAY)
    assert (found.step, found.withheld, found.take_off) == (step, withheld, take_off)
    assert [finding.code for finding in found.findings] == codes
    assert found.headline.startswith(STEP_MARKS[step])
    for output in ALL:
        if output in withheld:
            with pytest.raises(SafetyError, match="withheld") as refused:
                release(found, output)
            assert found.findings[0].words in str(refused.value)
            top = release(found, output, "the vascular surgeon agreed by phone")
            assert "the vascular surgeon agreed by phone" in top[0]
            assert top[1:] == found.lines
        else:
            assert release(found, output) == found.lines


def test_urgency_is_told_in_the_right_words():
    emergency = assess(answers("chest-pain", "cold"), "leg", "left", TODAY).headline
    assert "emergency number" in emergency
    assert "only if help tells you to" in emergency
    assert "take it off now" not in emergency
    assert "take it off now" in assess(answers("cold"), "leg", "left", TODAY).headline
    assert "today" in assess(answers("clot"), "leg", "left", TODAY).headline
    assert "treating doctor" in assess(answers("lump"), "arm", "left", TODAY).headline


def test_limits_can_be_changed():
    given = answers(arterial=(check(value=0.75, days_ago=100),))
    local = ArterialLimits(index_specialist=0.7, oldest_days=365)
    assert assess(given, "leg", "left", TODAY, local).findings == ()
    strict = ArterialLimits(index_specialist=0.7, oldest_days=90)
    assert assess(given, "leg", "left", TODAY, strict).withheld == PRESSING


def test_a_sign_stays_open_until_it_was_asked_again():
    first = datetime(2026, 3, 2, 9, tzinfo=UTC)
    visits = [(first + timedelta(days=7), ()), (first, (("infection", True),))]
    assert latest_signs(visits) == (("infection", True),)
    visits.append((first + timedelta(days=14), (("infection", False),)))
    assert latest_signs(visits) == (("infection", False),)


def test_a_check_of_tomorrow_does_not_count():
    found = assess(answers(arterial=(check(days_ago=-1),)), "leg", "left", TODAY)
    assert found.withheld == PRESSING


@pytest.mark.parametrize("reason", ["short", "x" * 201, "because\x07 of the bell"])
def test_a_reason_that_says_nothing_is_refused(reason):
    with pytest.raises(SafetyError, match="reason"):
        release(assess(answers("lump"), "arm", "left", TODAY), "wrap", reason)


def test_one_line_names_the_first_and_counts_the_rest():
    assert assess(answers("infection", "heart-3"), "arm", "left", TODAY).short == (
        "!! A doctor today: Spreading redness with heat, fever or shivering. And 1 more."
    )
    assert assess(answers(), "arm", "left", TODAY).short == ""


# ---- the file ----------------------------------------------------------------------------------------

FILE = b"""
clearance = "yes"
clearance_by = "AB"
conditions_asked = 2026-03-02

[signs]
infection = false

[conditions]
bypass = true

[[arterial]]
kind = "toe-pressure"
value = 75
when = 2026-03-02
side = "left"
by = "CD"
"""


def test_answers_from_a_file():
    assert answers_from_toml(FILE) == SafetyAnswers(
        "yes",
        "AB",
        (("infection", False),),
        (("bypass", True),),
        date(2026, 3, 2),
        (ArterialCheck("toe-pressure", 75.0, date(2026, 3, 2), "left", "CD"),),
    )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (b'clearance = "perhaps"', "clearance"),
        (b"surprise = 1", "surprise"),
        (b'[signs]\nInfection = true\n', "signs"),
        (b'[signs]\ninfection = "a bit"', "infection"),
        (b'[[arterial]]\nkind = "ankle-brachial"\nvalue = 95\nwhen = 2026-03-02', "0 to 3"),
        (b'[[arterial]]\nkind = "guess"\nvalue = 1\nwhen = 2026-03-02', "kind"),
        (b"clearance = ", "TOML"),
        (b"\xff\xfe", "TOML"),
    ],
)  # fmt: skip
def test_a_wrong_answer_is_named(line, words):
    with pytest.raises(SafetyError, match=words):
        answers_from_toml(line)
