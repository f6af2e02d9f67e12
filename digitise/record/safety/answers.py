"""A client's safety answers: checked, written, and read together with what every visit asked."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Literal, cast, get_args

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from digitise.care.safety.answers import (
    Answer,
    ArterialCheck,
    CheckKind,
    SafetyAnswers,
    latest_signs,
    with_newer,
)
from digitise.care.safety.answers_file import check_arterial
from digitise.errors import RecordError, SafetyError
from digitise.record.check import is_flag_code, staff_code
from digitise.record.loading import nothing
from digitise.record.rows import clearance_of, time_of
from digitise.record.tables import ArterialCheckRow, ClientRow, ConditionsRow, LimbRow, VisitRow
from digitise.record.values import VisitId

_CheckSide = Literal["left", "right", "both"]
_EARLIEST = date(2000, 1, 1)
_MOST = 100


# ---- before it is written ------------------------------------------------------------------------------


def validate_safety(answers: SafetyAnswers) -> SafetyAnswers:
    """Return what is kept once of a client, with codes in their stored spelling; without signs and clearance.

    Raises
    ------
    RecordError
        A code, a day or an initial cannot be kept.
    SafetyError
        The result of a check cannot be one.
    """
    codes = [code for code, _ in answers.conditions]
    wrong = next((code for code in codes if not is_flag_code(code) or codes.count(code) > 1), None)
    if wrong is not None:
        raise RecordError(
            "A condition is named twice, or with other than small letters, digits and dashes.",
            where=f"condition {wrong[:30]!r}",
            do="Correct it.",
        )
    if max(len(codes), len(answers.arterial)) > _MOST:
        raise RecordError(
            f"There are more than {_MOST} conditions or checks.", where="safety", do="Keep the later ones."
        )
    if bool(codes) != (answers.conditions_asked is not None):
        raise RecordError(
            "Conditions go with the day on which they were asked for, and the day with conditions.",
            where="conditions",
            do="Give both.",
        )
    if answers.conditions_asked is not None:
        _check_day(answers.conditions_asked, "conditions asked")
    checks = tuple(_valid_check(check) for check in answers.arterial)
    return SafetyAnswers(
        conditions=answers.conditions, conditions_asked=answers.conditions_asked, arterial=checks
    )


def _valid_check(check: ArterialCheck) -> ArterialCheck:
    where = f"check of {check.when:%Y-%m-%d}"
    _check_day(check.when, where)
    return check_arterial(replace(check, by=staff_code(check.by, where)), where)


def _check_day(day: date, where: str) -> None:
    # a day further, for clocks of other places
    if not _EARLIEST <= day <= datetime.now(UTC).date() + timedelta(days=1):
        raise RecordError(
            f"The day {day:%Y-%m-%d} is before 2000 or in the future.", where=where, do="Correct it."
        )


# ---- rows ----------------------------------------------------------------------------------------------


def save_safety(session: Session, code: str, ready: SafetyAnswers, seen: SafetyAnswers | None) -> None:
    """Put answers in the place of those that are stored of a client.

    Raises
    ------
    RecordError
        There is no such client, or somebody changed the answers since they were ``seen``.
    """
    client = session.scalar(select(ClientRow.id).filter_by(code=code))
    if client is None:
        raise nothing(f"client {code}")
    there = _kept(session, client)
    if seen is not None and there != replace(
        seen, clearance="not-asked", clearance_by="", signs=(), signs_asked=None
    ):
        raise RecordError(
            "These answers were changed by someone else since they were shown.",
            where=f"client {code}",
            do="Look at them again, and make the change there.",
        )
    _put(session, client, ready)


def hand_over(session: Session, giver: int, receiver: int) -> None:
    """Give the answers of a client, of whom no visit is left, to the one whose visits they were.

    Where both have answers, the later ones count.

    Raises
    ------
    ValueError
        What is stored is no answer.
    """
    both = sorted(
        (_kept(session, client) for client in (giver, receiver)),
        key=lambda known: known.conditions_asked or date.min,
    )
    _put(session, receiver, with_newer(*both))
    _put(session, giver, SafetyAnswers())


def _put(session: Session, client: int, ready: SafetyAnswers) -> None:
    for table in (ConditionsRow, ArterialCheckRow):
        session.execute(delete(table).where(table.client_id == client))
    if ready.conditions_asked is not None:
        session.add(
            ConditionsRow(
                client_id=client,
                asked_on=ready.conditions_asked.isoformat(),
                conditions_json=json.dumps(dict(ready.conditions)),
            )
        )
    session.add_all(
        ArterialCheckRow(
            client_id=client,
            number=number,
            kind=check.kind,
            value=check.value,
            made_on=check.when.isoformat(),
            side=check.side,
            made_by=check.by,
        )
        for number, check in enumerate(ready.arterial, start=1)
    )
    session.flush()


def _kept(session: Session, client: int) -> SafetyAnswers:
    row = session.scalar(select(ConditionsRow).filter_by(client_id=client))
    query = select(ArterialCheckRow).filter_by(client_id=client).order_by(ArterialCheckRow.number)
    checks = tuple(_check_of(one) for one in session.scalars(query))
    if row is None:
        return SafetyAnswers(arterial=checks)
    conditions = json.loads(row.conditions_json)
    if not isinstance(conditions, dict) or not all(isinstance(there, bool) for there in conditions.values()):
        raise ValueError("no answers")
    asked = date.fromisoformat(row.asked_on)
    return SafetyAnswers(conditions=tuple(conditions.items()), conditions_asked=asked, arterial=checks)


def _check_of(row: ArterialCheckRow) -> ArterialCheck:
    if row.kind not in get_args(CheckKind) or row.side not in get_args(_CheckSide):
        raise ValueError("no such check")
    check = ArterialCheck(
        cast(CheckKind, row.kind),
        row.value,
        date.fromisoformat(row.made_on),
        cast(_CheckSide, row.side),
        row.made_by,
    )
    try:
        return check_arterial(check)
    except SafetyError as error:
        raise ValueError("no result of a check") from error


# ---- together with the visits ----------------------------------------------------------------------------


def known_safety(session: Session, code: str, visit_id: VisitId | None) -> SafetyAnswers:
    """Return all that is known of a client; see :meth:`digitise.record.store.Store.safety`.

    Raises
    ------
    RecordError
        There is no such client, or no such visit of that client.
    ValueError
        What is stored is no answer.
    """
    query = (
        select(VisitRow)
        .join(LimbRow, VisitRow.limb_id == LimbRow.id)
        .join(ClientRow, LimbRow.client_id == ClientRow.id)
        .where(ClientRow.code == code)
        .order_by(VisitRow.taken_utc, VisitRow.id)
    )
    visits = list(session.scalars(query))
    client = session.scalar(select(ClientRow.id).filter_by(code=code))
    if client is None:
        raise nothing(f"client {code}")
    wanted = visits[-1:] if visit_id is None else [row for row in visits if row.id == visit_id]
    chosen = wanted[0] if wanted else None
    if chosen is None and visit_id is not None:
        raise nothing(f"visit {visit_id} of client {code}")
    if chosen is None:  # all visits were removed
        return _kept(session, client)
    answer, by = _clearance(visits, chosen)
    signs = _signs(visits, chosen)
    asked = time_of(chosen.taken_utc).astimezone().date() if signs else None
    return replace(_kept(session, client), clearance=answer, clearance_by=by, signs=signs, signs_asked=asked)


def _signs(visits: list[VisitRow], chosen: VisitRow) -> tuple[tuple[str, bool], ...]:
    """Return signs that are open, and of those that are not the ones that the chosen visit asked for."""
    latest = latest_signs((time_of(row.taken_utc), clearance_of(row).red_flags) for row in visits)
    asked = {code for code, _ in clearance_of(chosen).red_flags}
    return tuple((code, there) for code, there in latest if there or code in asked)


def _clearance(visits: list[VisitRow], chosen: VisitRow) -> tuple[Answer, str]:
    answered = [row for row in visits if row.clearance_utc is not None]
    last = max(answered, key=lambda row: row.clearance_utc or "", default=chosen)
    row = last if last.clearance_answer == "no" else chosen
    found = clearance_of(row)
    return found.answer, found.by
