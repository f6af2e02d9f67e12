"""What a client's answers come to: how urgent it is, what is open, what is withheld till then."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.answers import SafetyAnswers
from digitise.care.safety.arteries import ArterialLimits, judge_arteries
from digitise.care.safety.signs import (
    CONDITION_OF,
    CONDITIONS,
    SIGN_OF,
    SIGNS,
    STEP_MARKS,
    STEP_TITLES,
    STEP_WORDS,
    STEPS,
    TAKE_OFF,
    Sign,
    Step,
    Weight,
)

_WEIGHT_OF_STEP: Final[dict[Step, Weight]] = {
    "emergency": "stop",
    "today": "stop",
    "ask": "stop",
    "none": "warn",
}
_SIGNS_DAYS = 7  # asked at every visit; wraps are laid several times a week (ours)
_NAMED = 4  # so many signs fit on a line
_DEFAULT_LIMITS = ArterialLimits()


@dataclass(frozen=True)
class Finding:
    """One thing that is open.

    Attributes
    ----------
    code
        Of the sign or condition; ``arteries``, ``clearance`` or ``conditions``.
    step
        How urgent it is.
    weight
        What it withholds.
    words, do
        What it is, and what to do about it.
    """

    code: str
    step: Step
    weight: Weight
    words: str
    do: str


@dataclass(frozen=True)
class Safety:
    """What the answers come to.

    Attributes
    ----------
    step
        The most urgent of all findings.
    take_off
        A wrap that is on comes off at once.
    findings
        The most urgent first.
    withheld
        Padding, wrap and girth list are not made: foam lies under the wrap, so all of them press.
    """

    step: Step
    take_off: bool
    findings: tuple[Finding, ...]
    withheld: bool

    @property
    def headline(self) -> str:
        """What to do first, in a sentence or two with its mark; empty when nothing is urgent.

        Examples
        --------
        >>> answers = SafetyAnswers("yes", signs=(("clot", True),))
        >>> assess(answers, LimbKind.ARM, Side.LEFT, date(2026, 3, 2)).headline
        '!! A doctor today. Do not wrap. A doctor sees the client today.'
        """
        if self.step == "none":
            return ""
        # in an emergency help decides about the wrap: moving the client comes second
        off = f" {TAKE_OFF}" if self.take_off and self.step != "emergency" else ""
        return f"{STEP_MARKS[self.step]} {STEP_TITLES[self.step]}.{off} {STEP_WORDS[self.step]}"

    @property
    def lines(self) -> tuple[str, ...]:
        """The headline and every finding, one line each: what stands on top of every output."""
        found = [f"{finding.words} {finding.do}".strip() for finding in self.findings]
        return tuple(line for line in (self.headline, *found) if line)

    @property
    def short(self) -> str:
        """One line for where the whole was shown before; empty when nothing is open."""
        if not self.findings:
            return ""
        more = len(self.findings) - 1
        first = self.findings[0].words
        title = f"{STEP_MARKS[self.step]} {STEP_TITLES[self.step]}: " if self.step != "none" else ""
        return f"{title}{first}{f' And {more} more.' if more else ''}"


def assess(
    answers: SafetyAnswers,
    limb: LimbKind,
    side: Side,
    on: date,
    limits: ArterialLimits = _DEFAULT_LIMITS,
) -> Safety:
    """Return what a client's answers come to for one limb on a day.

    Parameters
    ----------
    answers
        All that was answered so far, the last answer to each question.
    limb, side
        The limb that is to be wrapped: a leg needs a check of its arteries.
    on
        The day, from which the age of answers counts.
    limits
        From which results on a check speaks against compression, and when an answer is too old.
    """
    found = [
        *_signs(answers),
        *_signs_asked(answers, on, limits),
        *_clearance(answers),
        *_conditions(answers, on, limits),
    ]
    if limb == LimbKind.LEG:
        found += _arteries(answers, side, on, limits)
    order: dict[Weight, int] = {"stop": 0, "hold": 1, "warn": 2}
    found.sort(key=lambda finding: (STEPS.index(finding.step), order[finding.weight]))
    withheld = any(finding.weight != "warn" for finding in found)
    off = any(_sign(code).take_off for code, there in answers.signs if there)
    return Safety(found[0].step if found else "none", off, tuple(found), withheld)


def _sign(code: str) -> Sign:
    """Return a sign; one that is not on the list was written down by a person, so it is taken seriously."""
    return SIGN_OF.get(code, Sign(code, "today", f"“{code}”, noted as a warning sign"))


def _signs(answers: SafetyAnswers) -> list[Finding]:
    signs = [_sign(code) for code, there in answers.signs if there]
    return [Finding(sign.code, sign.step, _WEIGHT_OF_STEP[sign.step], f"{sign.words}.", "") for sign in signs]


def _signs_asked(answers: SafetyAnswers, on: date, limits: ArterialLimits) -> list[Finding]:
    """Return what is open about the asking: signs are of one day, and much later they are old answers."""
    asked = {code for code, _ in answers.signs}
    left = [sign.words for sign in SIGNS if sign.code not in asked]
    if not answers.signs:
        return [Finding("signs", "none", "hold", "Warning signs were not asked for.", "Ask before any wrap.")]
    if left:
        more = [f"{len(left) - _NAMED} more"] if len(left) > _NAMED else []
        words = f"Warning signs not asked for: {'; '.join([*left[:_NAMED], *more])}."
        return [Finding("signs", "none", "hold", words, "Ask for them before any wrap.")]
    days = 0 if answers.signs_asked is None else (on - answers.signs_asked).days
    if days <= _SIGNS_DAYS:
        return []
    words = f"Warning signs were last asked for on {answers.signs_asked:%Y-%m-%d}."
    weight: Weight = "hold" if days > limits.oldest_days else "warn"
    return [Finding("signs", "none", weight, words, "Ask again before any wrap.")]


def _clearance(answers: SafetyAnswers) -> list[Finding]:
    if answers.clearance == "yes":
        return []
    if answers.clearance == "no":
        return [
            Finding(
                "clearance",
                "ask",
                "stop",
                "Compression is not cleared.",
                "A licensed practitioner decides before any wrap.",
            )
        ]
    words = "Nobody noted whether a licensed practitioner cleared compression."
    return [Finding("clearance", "none", "hold", words, "Ask before any wrap.")]


def _conditions(answers: SafetyAnswers, on: date, limits: ArterialLimits) -> list[Finding]:
    found = []
    for code, there in answers.conditions:
        if not there:
            continue
        known = CONDITION_OF.get(code)
        words = known.words if known else f"“{code}”, noted as a condition"
        weight: Weight = known.weight if known else "stop"
        do = known.do if known else "Ask the treating doctor."
        found.append(Finding(code, "ask" if weight == "stop" else "none", weight, f"{words}.", do))
    asked = {code for code, _ in answers.conditions}
    left = [one.words for one in CONDITIONS if one.weight == "stop" and one.code not in asked]
    if not answers.conditions or answers.conditions_asked is None:
        words = "Conditions that speak against compression were not asked for."
        found.append(Finding("conditions", "none", "hold", words, "Ask for them once, before any wrap."))
    elif answers.conditions_asked > on:
        # with a slip of the pen they would never grow old
        words = f"Conditions are noted as asked for on {answers.conditions_asked:%Y-%m-%d}, a day to come."
        found.append(Finding("conditions", "none", "hold", words, "Correct the day, or ask for them again."))
    elif left:
        words = f"Conditions not asked for yet: {'; '.join(left)}."
        found.append(Finding("conditions", "none", "hold", words, "Ask for them before any wrap."))
    elif (on - answers.conditions_asked).days > limits.oldest_days:
        words = f"Conditions were last asked for on {answers.conditions_asked:%Y-%m-%d}."
        found.append(Finding("conditions", "none", "warn", words, "Ask again whether anything has changed."))
    return found


def _arteries(answers: SafetyAnswers, side: Side, on: date, limits: ArterialLimits) -> list[Finding]:
    arteries = judge_arteries(answers, side, on, limits)
    if arteries.verdict == "passes":
        return []
    if arteries.verdict in ("contraindicated", "specialist"):
        return [Finding("arteries", "ask", "stop", arteries.words, arteries.do)]
    weight: Weight = "warn" if arteries.verdict == "unsure" else "hold"
    return [Finding("arteries", "none", weight, arteries.words, arteries.do)]
