"""What was asked and answered about a client's safety, as a plain value."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

Answer = Literal["yes", "no", "not-asked"]
CheckKind = Literal["ankle-brachial", "ankle-pressure", "toe-pressure", "skin-oxygen", "pulses"]


@dataclass(frozen=True)
class ArterialCheck:
    """One check of a limb's arteries.

    Attributes
    ----------
    kind
        ``ankle-brachial`` (index), ``ankle-pressure``, ``toe-pressure`` and ``skin-oxygen`` (mmHg), or
        ``pulses`` (1 felt, 0 not felt).
    value
        Its result.
    when
        Day of the check.
    side
        Of the limb; ``both`` when one result stands for both.
    by
        Initials or a code of who made it.
    """

    kind: CheckKind
    value: float
    when: date
    side: Literal["left", "right", "both"] = "both"
    by: str = ""


@dataclass(frozen=True)
class SafetyAnswers:
    """All that is known of a client's safety.

    Attributes
    ----------
    clearance
        Whether a licensed practitioner cleared compression.
    clearance_by
        Initials or a code.
    signs
        Warning signs by code, True when there; only those that were asked for.
    signs_asked
        Day of the visit at which they were; None for those that are given today.
    conditions
        Conditions by code, True when there; only those that were asked for.
    conditions_asked
        Day on which they were; None when they never were.
    arterial
        Checks of the arteries, in any order.
    """

    clearance: Answer = "not-asked"
    clearance_by: str = ""
    signs: tuple[tuple[str, bool], ...] = ()
    conditions: tuple[tuple[str, bool], ...] = ()
    conditions_asked: date | None = None
    arterial: tuple[ArterialCheck, ...] = ()
    signs_asked: date | None = None


def with_newer(before: SafetyAnswers, newer: SafetyAnswers) -> SafetyAnswers:
    """Return answers with newer ones: to a question asked again the newer answer counts.

    A check of the same kind, day and side takes the place of the earlier one.  The day on which conditions or
    signs were asked for is the newer one only when all of them were asked for again.

    Examples
    --------
    >>> before = SafetyAnswers("yes", "AB", signs=(("clot", True), ("skin", True)))
    >>> with_newer(before, SafetyAnswers(signs=(("clot", False),))).signs
    (('clot', False), ('skin', True))
    """
    asked_again = newer.clearance != "not-asked"
    signs_again = {code for code, _ in before.signs} <= {code for code, _ in newer.signs}
    all_again = {code for code, _ in before.conditions} <= {code for code, _ in newer.conditions}
    again = {(check.kind, check.when, check.side) for check in newer.arterial}
    kept = (check for check in before.arterial if (check.kind, check.when, check.side) not in again)
    return SafetyAnswers(
        newer.clearance if asked_again else before.clearance,
        newer.clearance_by if asked_again else before.clearance_by,
        tuple({**dict(before.signs), **dict(newer.signs)}.items()),
        tuple({**dict(before.conditions), **dict(newer.conditions)}.items()),
        newer.conditions_asked if all_again and newer.conditions else before.conditions_asked,
        (*kept, *newer.arterial),
        newer.signs_asked if signs_again and newer.signs else before.signs_asked,
    )


def latest_signs(
    asked: Iterable[tuple[datetime, Iterable[tuple[str, bool]]]],
) -> tuple[tuple[str, bool], ...]:
    """Return the last answer to every question that was ever asked.

    A sign stays open until it was asked for again and was not there: a visit at which nobody asked closes
    nothing.

    Parameters
    ----------
    asked
        Time of each visit with the answers given there, in any order.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> first, second = datetime(2026, 3, 2, tzinfo=UTC), datetime(2026, 3, 9, tzinfo=UTC)
    >>> latest_signs([(first, [("infection", True), ("skin", True)]), (second, [("skin", False)])])
    (('infection', True), ('skin', False))
    """
    answers: dict[str, bool] = {}
    for _, signs in sorted(asked, key=lambda visit: visit[0]):
        answers.update(signs)
    return tuple(answers.items())
