"""Forty clients: how urgent it is, what is withheld, and what is said."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from situations import GOOD_CHECK, NO_SIGNS, SITUATIONS, TODAY, answers, check

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers, latest_signs, with_newer
from digitise.care.safety.answers_file import answers_from_toml, answers_to_toml
from digitise.care.safety.arteries import ArterialLimits
from digitise.care.safety.assess import assess
from digitise.care.safety.release import OUTPUT_WORDS, release
from digitise.care.safety.signs import SIGNS, STEP_MARKS
from digitise.errors import SafetyError


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
    if withheld:
        with pytest.raises(SafetyError, match="Padding, wrap, girth list withheld") as refused:
            release(found, tuple(OUTPUT_WORDS))
        assert found.findings[0].words in str(refused.value)
        top = release(found, ("wrap",), "the vascular surgeon agreed by phone")
        assert top[0].startswith("Made despite what is open here (wrap).")
        assert "the vascular surgeon agreed by phone" in top[0]
        assert top[1:] == found.lines
    else:
        assert release(found, tuple(OUTPUT_WORDS)) == found.lines


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
    assert assess(given, "leg", "left", TODAY, strict).withheld


def test_a_sign_stays_open_until_it_was_asked_again():
    first = datetime(2026, 3, 2, 9, tzinfo=UTC)
    visits = [(first + timedelta(days=7), ()), (first, (("infection", True),))]
    assert latest_signs(visits) == (("infection", True),)
    visits.append((first + timedelta(days=14), (("infection", False),)))
    assert latest_signs(visits) == (("infection", False),)


def test_a_check_of_tomorrow_does_not_count():
    found = assess(answers(arterial=(check(days_ago=-1),)), "leg", "left", TODAY)
    assert found.withheld


def test_a_check_of_tomorrow_counts_when_it_speaks_against_compression():
    """Its day is a slip of the pen; its result is not."""
    given = answers(arterial=(*GOOD_CHECK, check(value=0.4, days_ago=-300, side="left")))
    found, other_leg = (assess(given, "leg", side, TODAY) for side in ("left", "right"))
    assert found.withheld
    assert "severe arterial disease" in found.findings[0].words
    assert not other_leg.withheld


def test_conditions_of_tomorrow_count_as_not_asked_for():
    found = assess(answers(asked_days_ago=-300), "arm", "left", TODAY)
    assert found.withheld
    assert "a day to come" in found.findings[0].words


@pytest.mark.parametrize("reason", ["short", "x" * 201, "because\x07 of the bell"])
def test_a_reason_that_says_nothing_is_refused(reason):
    with pytest.raises(SafetyError, match="reason"):
        release(assess(answers("lump"), "arm", "left", TODAY), ("wrap",), reason)


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


@pytest.mark.parametrize("name", SITUATIONS)
def test_answers_are_written_as_they_are_read(name):
    # a file is of today: the day of the visit that asked for the signs is not in it
    given = replace(SITUATIONS[name][0], signs_asked=None)
    assert answers_from_toml(answers_to_toml(given).encode()) == given


def test_others_answers_all_signs_that_are_not_named():
    signs = dict(answers_from_toml(b"[signs]\nskin = true\nothers = false").signs)
    assert signs == {sign.code: sign.code == "skin" for sign in SIGNS}
    with pytest.raises(SafetyError, match="name those that are"):
        answers_from_toml(b"[signs]\nothers = true")


def test_signs_that_were_not_asked_for_are_named():
    (left,) = assess(answers(signs=NO_SIGNS[3:]), "arm", "left", TODAY).findings
    assert left.words == (
        "Warning signs not asked for: Chest pain; Breathlessness that is new or at rest; Coughing blood."
    )
    # a name that is on no list answers no question
    unknown = (("infektion", False), *NO_SIGNS[1:])
    assert [one.code for one in assess(answers(signs=unknown), "arm", "left", TODAY).findings] == ["signs"]


def test_newer_answers_count():
    before = replace(answers("bypass", "clot"), clearance_by="AB")
    day = TODAY - timedelta(days=1)
    one = SafetyAnswers(conditions=(("allergy", True),), conditions_asked=day, arterial=(check(value=0.9),))
    both = with_newer(before, one)
    assert (both.clearance, both.clearance_by, both.signs) == ("yes", "AB", before.signs)
    assert all(dict(both.conditions)[code] for code in ("bypass", "allergy"))
    # one condition does not make the others as if asked today; a check of that day and kind is corrected
    assert both.conditions_asked == before.conditions_asked
    assert both.arterial == one.arterial
    asked = replace(one, conditions=before.conditions, clearance="no", clearance_by="CD")
    both = with_newer(before, replace(asked, arterial=(check(value=0.9, days_ago=3),)))
    assert (both.clearance, both.clearance_by, both.conditions_asked) == ("no", "CD", day)
    assert [one.value for one in both.arterial] == [1.0, 0.9]


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
