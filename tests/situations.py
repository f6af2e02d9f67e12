"""Forty clients: what was answered, how urgent it is, and whether what presses is withheld."""

from datetime import date, timedelta

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.signs import CONDITIONS, SIGNS

TODAY = date(2026, 3, 16)
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


def given_today():
    """Names of the situations whose signs were asked for today, as a file's and a new visit's are."""
    return [name for name, (given, *_) in SITUATIONS.items() if given.signs_asked is None]


# answers, limb, step, whether what presses is withheld, findings by code in order, whether a wrap comes off
SITUATIONS = {
    "nothing open, leg": (answers(), "leg", "none", False, [], False),
    "nothing open, arm without a check": (answers(arterial=()), "arm", "none", False, [], False),
    "chest pain": (answers("chest-pain"), "leg", "emergency", True, ["chest-pain"], False),
    "breathless": (answers("breath"), "arm", "emergency", True, ["breath"], False),
    "coughs blood": (answers("coughing-blood"), "leg", "emergency", True, ["coughing-blood"], False),
    "fainted": (answers("fainting"), "arm", "emergency", True, ["fainting"], False),
    "chest pain and cold toes": (
        answers("cold", "chest-pain"), "leg", "emergency", True, ["chest-pain", "cold"], True,
    ),
    "calf pain": (answers("clot"), "leg", "today", True, ["clot"], False),
    "sudden swelling": (answers("fast-swelling"), "arm", "today", True, ["fast-swelling"], False),
    "hot and red": (answers("infection"), "arm", "today", True, ["infection"], False),
    "blue fingers": (answers("cold"), "arm", "today", True, ["cold"], True),
    "sudden weakness": (answers("weakness"), "arm", "today", True, ["weakness"], False),
    "a sign in a person's own words": (
        answers(signs=(*NO_SIGNS, ("hot-skin", True))), "arm", "today", True, ["hot-skin"], False,
    ),
    "pins and needles": (answers("wrap-pain"), "leg", "ask", True, ["wrap-pain"], True),
    "new lump": (answers("lump"), "arm", "ask", True, ["lump"], False),
    "leaking skin": (answers("skin"), "leg", "ask", True, ["skin"], False),
    "grows over weeks": (answers("growth"), "leg", "ask", True, ["growth"], False),
    "both legs and weight": (answers("both-growing"), "leg", "ask", True, ["both-growing"], False),
    "nobody knows why": (answers("unknown-cause"), "arm", "ask", True, ["unknown-cause"], False),
    "pregnant": (answers("pregnant"), "leg", "ask", True, ["pregnant"], False),
    "a child": (answers("child"), "arm", "ask", True, ["child"], False),
    "not cleared": (answers(clearance="no"), "arm", "ask", True, ["clearance"], False),
    "clearance not asked": (answers(clearance="not-asked"), "arm", "none", True, ["clearance"], False),
    "signs not asked": (answers(signs=()), "arm", "none", True, ["signs"], False),
    "conditions not asked": (
        answers(conditions=(), conditions_asked=None), "arm", "none", True, ["conditions"], False,
    ),
    "bypass alone asked for": (
        answers(conditions=(("bypass", False),)), "arm", "none", True, ["conditions"], False,
    ),
    "conditions asked a year ago": (answers(asked_days_ago=365), "arm", "none", False, ["conditions"], False),
    "bypass under the wrap": (answers("bypass"), "leg", "ask", True, ["bypass"], False),
    "heart failure IV": (answers("heart-4"), "leg", "ask", True, ["heart-4"], False),
    "heart failure III": (answers("heart-3"), "arm", "ask", True, ["heart-3"], False),
    "no feeling": (answers("sensory-loss"), "leg", "ask", True, ["sensory-loss"], False),
    "allergic to foam": (answers("allergy"), "arm", "none", False, ["allergy"], False),
    "no check of a leg": (answers(arterial=()), "leg", "none", True, ["arteries"], False),
    "check of the other leg only": (
        answers(arterial=(check(side="right"),)), "leg", "none", True, ["arteries"], False,
    ),
    "old check": (answers(arterial=(check(days_ago=181),)), "leg", "none", True, ["arteries"], False),
    "old and bad check": (
        answers(arterial=(check(value=0.5, days_ago=400),)), "leg", "ask", True, ["arteries"], False,
    ),
    "old and bad check, pulses felt since": (
        answers(arterial=(check(value=0.45, days_ago=190), check("pulses", 1.0))),
        "leg", "ask", True, ["arteries"], False,
    ),
    "old and bad check, a good index since": (
        answers(arterial=(check(value=0.45, days_ago=190), check(value=1.0))),
        "leg", "none", False, [], False,
    ),
    "two checks of one day, the worse first": (
        answers(arterial=(check(value=0.55), check(value=1.05, side="both"))),
        "leg", "ask", True, ["arteries"], False,
    ),
    "one sign alone asked for": (
        answers(signs=(("infection", False),)), "arm", "none", True, ["signs"], False,
    ),
    "signs of a week ago": (answers(signs_asked=TODAY - timedelta(days=7)), "arm", "none", False, [], False),
    "signs of last month": (
        answers(signs_asked=TODAY - timedelta(days=30)), "arm", "none", False, ["signs"], False,
    ),
    "signs of a year ago": (
        answers(signs_asked=TODAY - timedelta(days=365)), "arm", "none", True, ["signs"], False,
    ),
    "index 0.59": (answers(arterial=(check(value=0.59),)), "leg", "ask", True, ["arteries"], False),
    "index 0.79": (answers(arterial=(check(value=0.79),)), "leg", "ask", True, ["arteries"], False),
    "index 1.31": (answers(arterial=(check(value=1.31),)), "leg", "ask", True, ["arteries"], False),
    "toe pressure 29 beside a good index": (
        answers(arterial=(check(), check("toe-pressure", 29.0))), "leg", "ask", True, ["arteries"], False,
    ),
    "diabetes and an index": (
        answers("stiff-arteries"), "leg", "none", False, ["stiff-arteries", "arteries"], False,
    ),
    "diabetes and a toe pressure": (
        answers("stiff-arteries", arterial=(check(), check("toe-pressure", 80.0))),
        "leg", "none", False, ["stiff-arteries"], False,
    ),
    "pulses felt": (answers(arterial=(check("pulses", 1.0),)), "leg", "none", False, ["arteries"], False),
    "pulses not felt": (answers(arterial=(check("pulses", 0.0),)), "leg", "ask", True, ["arteries"], False),
    "better since an operation": (
        answers(arterial=(check(value=0.5, days_ago=90), check(value=0.95, days_ago=10))),
        "leg", "none", False, [], False,
    ),
    "infection, heart, no check": (
        answers("infection", "heart-3", arterial=()),
        "leg", "today", True, ["infection", "heart-3", "arteries"], False,
    ),
}  # fmt: skip
