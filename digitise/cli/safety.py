"""What is asked once of a client before any wrap: kept with the records, or shown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from digitise.cli import show
from digitise.cli.options import RecordsOption
from digitise.errors import RecordError, SafetyError

if TYPE_CHECKING:
    from digitise.care.safety.answers import SafetyAnswers
    from digitise.care.safety.assess import Safety
    from digitise.record.values import VisitLine


def safety(
    client: Annotated[
        str, typer.Argument(metavar="CODE", help="The client's code, such as K-017; never a name.")
    ],
    answers: Annotated[
        Path | None,
        typer.Option("--answers", help="Conditions and checks of the arteries to keep: an answers.toml."),
    ] = None,
    replace: Annotated[
        bool, typer.Option("--replace", help="Keep these instead of all that is stored, not beside it.")
    ] = False,
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Show what is known of a client's safety, or keep conditions and checks of the arteries."""
    from digitise.care.safety.answers import with_newer
    from digitise.record.store import Store
    from digitise.workflow.safety import safety_of_limbs

    if replace and answers is None:
        raise typer.BadParameter("it is needed by --replace.", param_hint="--answers")
    given = None if answers is None else _once(answers)
    with Store(records, create=False) as store:
        if given is not None:
            seen = store.safety(client)
            store.save_safety(client, given if replace else with_newer(seen, given), seen=seen)
        known, limbs = store.safety(client), safety_of_limbs(store, client)
    data = {"client": limbs[0][0].client, **_facts(known), "limbs": [_limb(*one) for one in limbs]}
    lines = [*_words(known), *(line for one in limbs for line in _limb_words(*one))]
    show.result(as_json, data, lambda console: console.print(show.lines(lines)))


def _once(path: Path) -> SafetyAnswers:
    """Read a file of answers that are kept once; what belongs to a visit is not dropped silently."""
    from digitise.care.safety.answers_file import read_answers

    given = read_answers(path)
    if given.signs or given.clearance != "not-asked" or given.clearance_by:
        raise SafetyError(
            "Warning signs and clearance are kept with a visit, not here.",
            where=path.name,
            do="Take them out of this file; give them with digitise record add, or on the page.",
        )
    return given


def _facts(known: SafetyAnswers) -> dict[str, Any]:
    return {
        "clearance": known.clearance,
        "clearance_by": known.clearance_by,
        "signs": dict(known.signs),
        "conditions": dict(known.conditions),
        "conditions_asked": known.conditions_asked and known.conditions_asked.isoformat(),
        "arterial": [
            {
                "kind": check.kind,
                "value": check.value,
                "when": check.when.isoformat(),
                "side": check.side,
                "by": check.by,
            }
            for check in known.arterial
        ],
    }


def _limb(line: VisitLine, found: Safety) -> dict[str, Any]:
    return {
        "limb": line.limb,
        "side": line.side,
        "visit": line.id,
        "step": found.step,
        "take_off": found.take_off,
        "withheld": found.withheld,
        "lines": found.lines,
    }


def _words(known: SafetyAnswers) -> list[str]:
    from digitise.care.safety.arteries import check_words
    from digitise.care.safety.signs import CONDITION_OF

    asked = "never asked for" if known.conditions_asked is None else f"asked for on {known.conditions_asked}"
    there = [
        CONDITION_OF[code].words if code in CONDITION_OF else code
        for code, is_so in known.conditions
        if is_so
    ]
    asked_for = any(code in CONDITION_OF for code, _ in known.conditions)
    conditions = "; ".join(there) or ("none" if asked_for else "not known")
    checks = [f"{check_words(check)}, {_of(check.side)}" for check in known.arterial]
    return [
        f"Conditions, {asked}: {conditions}.",
        *(f"Arteries: {words}." for words in checks or ["no check"]),
    ]


def _of(side: str) -> str:
    return "both limbs" if side == "both" else side


def _limb_words(line: VisitLine, found: Safety) -> list[str]:
    ready = "nothing is open" if not found.findings else "withheld" if found.withheld else "released"
    return [
        f"{line.side.capitalize()} {line.limb}, padding, wrap and girth list: {ready}.",
        *(f"  {words}" for words in found.lines),
    ]


def red_flags(words: Sequence[str]) -> tuple[tuple[str, bool], ...]:
    """Return the answers of ``--red-flag``, with ``others`` in place of those that it stands for.

    Raises
    ------
    RecordError
        An answer is missing, or is none to a sign that is asked for.
    """
    from digitise.care.safety.signs import spelled_out

    given = [_flag(word) for word in words]
    if len(given) != len(dict(given)):
        return tuple(given)  # the records say that one is given twice
    try:
        return spelled_out(dict(given))
    except ValueError as error:
        raise RecordError(f"{error}.", where="--red-flag", do="Write others=no.") from error


def _flag(word: str) -> tuple[str, bool]:
    from digitise.care.safety.signs import OTHERS, SIGN_OF

    code, _, answer = word.partition("=")
    if answer not in ("yes", "no"):
        raise RecordError("The answer is missing.", where="--red-flag", do="Write it like infection=no.")
    if answer == "no" and code not in (*SIGN_OF, OTHERS):
        raise RecordError(
            f"There is no warning sign {code!r}, so that it is not there says nothing.",
            where="--red-flag",
            do=f"One of {', '.join(SIGN_OF)}, or others=no for all that are not named.",
        )
    return code, answer == "yes"
