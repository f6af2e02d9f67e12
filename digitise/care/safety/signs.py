"""Warning signs and conditions that are asked for, each with its step of urgency and its words.

Steps of urgency and signs: common teaching, in our own words; local rules decide.  Conditions: Rabe et al.
2020, Phlebology 35(7):447-460, contraindications of compression (its abstract was read); dialysis shunts:
from memory.
A wrap comes off at once for pain, pins and needles, numbness or discoloured toes or fingers: common practice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

OTHERS: Final = "others"
"""Given as not there, it answers all warning signs that are not named beside it."""

Step = Literal["emergency", "today", "ask", "none"]
"""How urgent it is: now, today, before going on, or nothing open."""

STEPS: Final[tuple[Step, ...]] = ("emergency", "today", "ask", "none")
"""From the most urgent on."""

STEP_MARKS: Final[dict[Step, str]] = {"emergency": "!!!", "today": "!!", "ask": "!", "none": ""}
"""A sign that needs no colour: the more strokes, the sooner."""

STEP_TITLES: Final[dict[Step, str]] = {
    "emergency": "Emergency",
    "today": "A doctor today",
    "ask": "Ask first",
    "none": "",
}

STEP_WORDS: Final[dict[Step, str]] = {
    "emergency": "Call the local emergency number now. Take the wrap off only if help tells you to.",
    "today": "Do not wrap. A doctor sees the client today.",
    "ask": "No wrap on this tool's numbers alone: ask the treating doctor before going on.",
    "none": "",
}

TAKE_OFF: Final = "If a wrap is on, take it off now."


@dataclass(frozen=True)
class Sign:
    """A warning sign that is asked for at every visit.

    Attributes
    ----------
    code
        As the records keep it.
    step
        How urgent it is.
    words
        The question, in a few words.
    take_off
        A wrap that is on comes off at once.
    """

    code: str
    step: Step
    words: str
    take_off: bool = False


SIGNS: Final[tuple[Sign, ...]] = (
    Sign("chest-pain", "emergency", "Chest pain"),
    Sign("breath", "emergency", "Breathlessness that is new or at rest"),
    Sign("coughing-blood", "emergency", "Coughing blood"),
    Sign("fainting", "emergency", "Fainting"),
    Sign("cold", "today", "Cold, blue, white or numb toes or fingers", take_off=True),
    Sign("clot", "today", "Calf pain, or a clot is suspected"),
    Sign("fast-swelling", "today", "Sudden swelling of one side"),
    Sign("infection", "today", "Spreading redness with heat, fever or shivering"),
    Sign("weakness", "today", "Sudden weakness of the limb"),
    Sign("wrap-pain", "ask", "Pain or pins and needles under the wrap", take_off=True),
    Sign("lump", "ask", "A new lump, or a cancer may be back"),
    Sign("skin", "ask", "Open, bleeding or leaking skin"),
    Sign("growth", "ask", "Fast growth over weeks"),
    Sign("both-growing", "ask", "Both legs grow, with weight gain or breath short when lying"),
    Sign("unknown-cause", "ask", "Swelling of unknown cause"),
    Sign("pregnant", "ask", "Pregnancy"),
    Sign("child", "ask", "The client is a child"),
)
"""All signs, the most urgent first."""

SIGN_OF: Final = {sign.code: sign for sign in SIGNS}

Weight = Literal["stop", "hold", "warn"]
"""``stop`` withholds what presses on the limb, ``hold`` does until it is answered."""


@dataclass(frozen=True)
class Condition:
    """A condition that is asked for once, and again when the answer is old.

    Attributes
    ----------
    code
        As the records keep it.
    weight
        What it withholds.
    words
        The question, in a few words.
    do
        What follows when it is there.
    """

    code: str
    weight: Weight
    words: str
    do: str


CONDITIONS: Final[tuple[Condition, ...]] = (
    Condition(
        "arterial-disease",
        "stop",
        "Severe arterial disease",
        "Contraindicated: no compression before a vascular specialist has said so.",
    ),
    Condition(
        "bypass",
        "stop",
        "A bypass or a dialysis shunt under the wrap",
        "Contraindicated where a wrap could squeeze it: ask the surgeon or the dialysis unit.",
    ),
    Condition(
        "heart-4",
        "stop",
        "Heart failure, breathless at rest (class IV)",
        "Contraindicated: the heart may not carry the fluid that a wrap moves.",
    ),
    Condition(
        "heart-3",
        "stop",
        "Heart failure, breathless at slight effort (class III)",
        "Only on a doctor's strict indication and while watched.",
    ),
    Condition(
        "sensory-loss",
        "stop",
        "Lost feeling in the limb, as in severe diabetic neuropathy",
        "Contraindicated where it is severe: the client cannot feel a wrap that is too tight.",
    ),
    Condition(
        "necrosis-risk",
        "stop",
        "Damaged small vessels with a risk that skin dies",
        "Contraindicated: ask the treating doctor.",
    ),
    Condition(
        "allergy",
        "warn",
        "Allergy to a bandage, padding, foam or latex",
        "Check every material that touches the skin; take another one.",
    ),
    Condition(
        "stiff-arteries",
        "warn",
        "Diabetes, kidney disease or stiff arteries",
        "An ankle-brachial index may read too high here: a toe pressure is surer.",
    ),
)
"""All conditions."""

CONDITION_OF: Final = {condition.code: condition for condition in CONDITIONS}


def spelled_out(signs: Mapping[str, bool]) -> tuple[tuple[str, bool], ...]:
    """Return answers to warning signs with ``others`` in place of those that it stands for.

    Raises
    ------
    ValueError
        It is given as there: which one is it?

    Examples
    --------
    >>> found = dict(spelled_out({"skin": True, "others": False}))
    >>> len(found) == len(SIGNS), found["skin"], found["clot"]
    (True, True, False)
    """
    if signs.get(OTHERS):
        raise ValueError("others stands for signs that are not there; name those that are")
    named = {code: there for code, there in signs.items() if code != OTHERS}
    rest = {sign.code: False for sign in SIGNS if OTHERS in signs and sign.code not in named}
    return tuple({**named, **rest}.items())
