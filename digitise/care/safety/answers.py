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
