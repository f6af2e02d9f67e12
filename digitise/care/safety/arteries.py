"""The check of a leg's arteries: which one counts, what it means, and until when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from digitise.anatomy import Side
from digitise.care.safety.answers import ArterialCheck, SafetyAnswers

Verdict = Literal["contraindicated", "specialist", "old", "missing", "unsure", "passes"]

KIND_WORDS = {
    "ankle-brachial": "ankle-brachial index",
    "ankle-pressure": "ankle pressure",
    "toe-pressure": "toe pressure",
    "skin-oxygen": "oxygen through the skin",
    "pulses": "foot pulses",
}


@dataclass(frozen=True)
class ArterialLimits:
    """From which result on a check speaks against compression; every number may be changed to local rules.

    Attributes
    ----------
    index_least, ankle_least_mmhg, toe_least_mmhg, oxygen_least_mmhg
        Below these compression is contraindicated (Rabe et al. 2020, Phlebology 35(7):447-460).
    index_specialist, index_stiff
        Below the one, or above the other, a specialist decides first (stricter local rules; 1.3 to 1.4 is in
        use for the upper).
    oldest_days
        A check older than this is asked for again, and so are the conditions (ours).
    """

    index_least: float = 0.6
    ankle_least_mmhg: float = 60.0
    toe_least_mmhg: float = 30.0
    oxygen_least_mmhg: float = 20.0
    index_specialist: float = 0.8
    index_stiff: float = 1.3
    oldest_days: int = 180


@dataclass(frozen=True)
class Arteries:
    """What the checks of one limb come to, in words for who wraps."""

    verdict: Verdict
    words: str
    do: str


# checks that say more than the pulses
_SETTLES = ("ankle-brachial", "ankle-pressure", "toe-pressure")
_AGAINST: tuple[Verdict, ...] = ("contraindicated", "specialist")


def judge_arteries(answers: SafetyAnswers, side: Side, on: date, limits: ArterialLimits) -> Arteries:
    """Return what the checks of one limb come to on a day.

    The last check of each kind counts, of several on one day the worst, and of these the worst that is not
    too old.  An old one that spoke against compression counts on until an index or a pressure that is not too
    old passes: pulses do not settle it, nor does age.  Where all are too old, a new one is asked for.  A
    check with a day to come was dated by a slip of the pen: it counts when it speaks against compression, and
    else not.

    Examples
    --------
    >>> check = ArterialCheck("ankle-brachial", 0.55, date(2026, 3, 2), "left", "AB")
    >>> answers = SafetyAnswers(arterial=(check,))
    >>> judge_arteries(answers, Side.LEFT, date(2026, 4, 2), ArterialLimits()).verdict
    'contraindicated'
    """
    stiff = dict(answers.conditions).get("stiff-arteries", False)
    own = [check for check in answers.arterial if check.side in (side, "both")]
    # of each kind the last, and the worst of its day, is what stays
    own.sort(key=lambda check: (check.when, -_rank(_judge_one(check, stiff, limits))))
    known = list({check.kind: check for check in own if check.when <= on}.values())
    to_come = [_judge_one(check, stiff, limits) for check in own if check.when > on]
    against = sorted((found for found in to_come if found.verdict in _AGAINST), key=_rank)
    if not known and not against:
        return Arteries(
            "missing",
            "No check of this leg's arteries is noted.",
            "Have the ankle-brachial index or toe pressure measured, and note it with its date.",
        )
    fresh = [check for check in known if (on - check.when).days <= limits.oldest_days]
    judged = [_judge_one(check, stiff, limits) for check in fresh]
    both = zip(fresh, judged, strict=True)
    passed = any(check.kind in _SETTLES and one.verdict == "passes" for check, one in both)
    old = [_judge_one(check, stiff, limits) for check in known if check not in fresh]
    judged += [one for one in old if not fresh or (one.verdict in _AGAINST and not passed)]
    found = sorted((*judged, *against), key=_rank)
    worst = found[0]
    if fresh or worst.verdict in _AGAINST:
        # a toe pressure that passes answers the doubt about an index with stiff arteries
        toe = any(check.kind == "toe-pressure" for check in fresh)
        settled = [one for one in found if not (toe and one.verdict == "unsure")]
        return settled[0] if settled else worst
    newest = max(check.when for check in known)
    return Arteries(
        "old",
        f"This leg's arteries were last checked on {newest:%Y-%m-%d}, over {limits.oldest_days} days ago.",
        "Have it made again, and note it with its date.",
    )


def _rank(found: Arteries) -> int:
    order: tuple[Verdict, ...] = ("contraindicated", "specialist", "unsure", "passes")
    return order.index(found.verdict)


def _judge_one(check: ArterialCheck, stiff: bool, limits: ArterialLimits) -> Arteries:
    said = check_words(check)
    least = {
        "ankle-brachial": limits.index_least,
        "ankle-pressure": limits.ankle_least_mmhg,
        "toe-pressure": limits.toe_least_mmhg,
        "skin-oxygen": limits.oxygen_least_mmhg,
    }
    if check.kind == "pulses":
        if check.value < 1:
            return Arteries(
                "specialist",
                f"{said}: not felt.",
                "Have an ankle-brachial index or toe pressure measured before any compression.",
            )
        return Arteries(
            "unsure", f"{said}: felt.", "Pulses alone can deceive: an index or toe pressure is surer."
        )
    if check.value < least[check.kind]:
        return Arteries(
            "contraindicated",
            f"{said}, below {least[check.kind]:g}: severe arterial disease.",
            "No compression; a vascular specialist.",
        )
    if check.kind == "ankle-brachial":
        return _judge_index(check, said, stiff, limits)
    return Arteries("passes", f"{said}.", "")


def _judge_index(check: ArterialCheck, said: str, stiff: bool, limits: ArterialLimits) -> Arteries:
    if check.value < limits.index_specialist:
        return Arteries(
            "specialist",
            f"{said}, below {limits.index_specialist:g}: narrowed arteries.",
            "A specialist decides before any compression.",
        )
    if check.value > limits.index_stiff:
        return Arteries(
            "specialist",
            f"{said}, above {limits.index_stiff:g}: arteries too stiff for this index.",
            "Have the toe pressure measured; a specialist decides before any compression.",
        )
    if stiff:
        return Arteries(
            "unsure",
            f"{said}, but diabetes, kidney disease or stiff arteries can make it read too high.",
            "Have the toe pressure measured.",
        )
    return Arteries("passes", f"{said}.", "")


def check_words(check: ArterialCheck) -> str:
    """Return a check in words, without its side.

    Examples
    --------
    >>> check_words(ArterialCheck("toe-pressure", 75.0, date(2026, 3, 2), "left", "AB"))
    'Toe pressure 75 mmHg (2026-03-02, by AB)'
    """
    name = KIND_WORDS[check.kind]
    words = f"{name[0].upper()}{name[1:]}"
    if check.kind != "pulses":
        unit = "" if check.kind == "ankle-brachial" else " mmHg"
        # to the digit it was noted: 0.796 must not read as 0.80, below 0.8
        words += f" {check.value:g}{unit}"
    by = f", by {check.by}" if check.by else ""
    return f"{words} ({check.when:%Y-%m-%d}{by})"
