"""Forty clients: what was answered, how urgent it is, and what is withheld."""

from datetime import date, timedelta

from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.signs import CONDITIONS, SIGNS

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
