"""What is known of a client's safety, from a file, the records or both, and what it releases or withholds."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.answers import SafetyAnswers, with_newer
from digitise.care.safety.arteries import ArterialLimits
from digitise.care.safety.assess import Safety, assess
from digitise.care.safety.release import Output, release
from digitise.errors import SafetyError
from digitise.output.model.form import ModelForm

if TYPE_CHECKING:
    from digitise.anatomy import LimbKind, Side
    from digitise.record.store import Store
    from digitise.record.values import VisitLine

DAYS_VARIABLE = "DIGITISE_SAFETY_DAYS"
_LONGEST_DAYS = 3650


def limits() -> ArterialLimits:
    """Return the limits that local rules have set: ``DIGITISE_SAFETY_DAYS`` says when answers are too old.

    Raises
    ------
    SafetyError
        It is no whole number of days from 1 to 3650.
    """
    said = os.environ.get(DAYS_VARIABLE, "").strip()
    if not said:
        return ArterialLimits()
    if not (said.isascii() and said.isdigit() and 1 <= int(said[:9]) <= _LONGEST_DAYS):
        raise SafetyError(
            f"{said[:20]!r} is no number of days after which a client is asked again.",
            where=DAYS_VARIABLE,
            do=f"Set a whole number from 1 to {_LONGEST_DAYS}, or nothing.",
        )
    return ArterialLimits(oldest_days=int(said))


def assessed(answers: SafetyAnswers, limb: LimbKind, side: Side) -> Safety:
    """Return what a client's answers come to today for one limb.

    Raises
    ------
    SafetyError
        The limit of age is none.
    """
    today = datetime.now().astimezone().date()
    return assess(answers, limb, side, today, limits())


def released(
    model: ModelForm, outputs: Sequence[Output], answers: SafetyAnswers | None, despite: str = ""
) -> tuple[str, ...]:
    """Return what stands on top of outputs for a client, or refuse to make them.

    Parameters
    ----------
    model
        Figures of the limb they are for.
    outputs
        ``pad``, ``wrap``, ``garment``.
    answers
        What was answered about the client's safety; None when nothing is known.
    despite
        Why they are to be made although they are withheld.

    Raises
    ------
    SafetyError
        They are withheld and there is no reason.
    """
    safety = None if answers is None else assessed(answers, model.limb, model.side)
    return release(safety, outputs, despite)


def safety_of_visit(store: Store, line: VisitLine) -> Safety:
    """Return what is known of a client today, seen from one visit.

    Raises
    ------
    RecordError, SafetyError
        The records cannot be read, or the limit of age is none.
    """
    return assessed(store.safety(line.client, line.id), line.limb, line.side)


def safety_of_limbs(store: Store, client: str) -> tuple[tuple[VisitLine, Safety], ...]:
    """Return the last visit of each limb of a client with what is known today.

    Raises
    ------
    RecordError, SafetyError
        There is no such client, the records cannot be read, or the limit of age is none.
    """
    last = {(line.limb, line.side): line for line in store.list_visits(client)}
    return tuple((line, safety_of_visit(store, line)) for _, line in sorted(last.items()))


def client_answers(
    client: str, records: str | None, given: SafetyAnswers | None, *, releases: bool = True
) -> SafetyAnswers | None:
    """Return what the records know of a client, with answers given now on top.

    Parameters
    ----------
    client
        The client's code; empty when it was not told.
    records
        File or address of the records; None for the usual place, which need not hold any.
    given
        Answers of today, which count more than stored ones; None without.
    releases
        Whether anything that presses on the limb depends on them: False for a report of figures alone, which
        may bear the code of a client whom the records do not hold.

    Raises
    ------
    RecordError
        The records that were named are not there, records do not hold the client of whom no answers are
        given, or they cannot be read.
    """
    if not client:
        return given
    # brings libraries that only records need
    from digitise.record.opening import has_records  # noqa: PLC0415
    from digitise.record.store import Store  # noqa: PLC0415

    named = releases and os.environ.get("DIGITISE_RECORDS")
    if records is None and not has_records() and not named:
        return given
    with Store(records, create=False) as store:
        known_to_it = client in [one.code for one in store.list_clients()]
        if records is None and not known_to_it and (given is not None or not releases):
            return given
        known = store.safety(client)
    return known if given is None else with_newer(known, given)
