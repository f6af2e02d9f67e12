"""Answers about a client's safety as a file, answers.toml.

For instance:

    clearance = "yes"
    clearance_by = "AB"

    [signs]
    skin = false
    others = false

    [conditions]
    bypass = false

    [[arterial]]
    kind = "ankle-brachial"
    value = 1.02
    when = 2026-03-02

``others = false`` answers all warning signs that are not named; ``conditions_asked`` is the day on which the
conditions were asked for.
"""

from __future__ import annotations

import tomllib
from datetime import date
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from digitise.care.safety.answers import Answer, ArterialCheck, CheckKind, SafetyAnswers
from digitise.care.safety.signs import spelled_out
from digitise.errors import SafetyError, place_in_file

_LARGEST_BYTES = 50_000
# Codes as the records take them.
Code = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]{1,30}$")]
Initials = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9-]{0,20}$")]
# mmHg, or an index; beyond this it is a slip of the pen.
_VALUE_RANGES: dict[CheckKind, tuple[float, float]] = {
    "ankle-brachial": (0.0, 3.0),
    "ankle-pressure": (0.0, 350.0),
    "toe-pressure": (0.0, 350.0),
    "skin-oxygen": (0.0, 150.0),
    "pulses": (0.0, 1.0),
}


class _CheckForm(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)

    kind: CheckKind
    value: float
    when: date
    side: Literal["left", "right", "both"] = "both"
    by: Initials = ""


class _AnswersForm(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    clearance: Answer = "not-asked"
    clearance_by: Initials = ""
    signs: Annotated[dict[Code, bool], AfterValidator(lambda signs: dict(spelled_out(signs)))] = Field(
        default_factory=dict, max_length=100
    )
    conditions: dict[Code, bool] = Field(default_factory=dict, max_length=100)
    conditions_asked: date | None = None
    arterial: tuple[_CheckForm, ...] = Field(default=(), max_length=100)


def read_answers(path: str | Path) -> SafetyAnswers:
    """Read an answers.toml.

    Raises
    ------
    SafetyError
        The file is missing, no TOML, or an answer in it is unknown or out of range.
    """
    path = Path(path)
    try:
        with path.open("rb") as stream:
            data = stream.read(_LARGEST_BYTES + 1)
    except OSError as error:
        raise SafetyError(
            f"The answers cannot be read: {error.strerror or error}.", where=path.name, do="Check the name."
        ) from error
    if len(data) > _LARGEST_BYTES:
        raise SafetyError("The file is too large for answers.", where=path.name, do="Give an answers.toml.")
    return answers_from_toml(data, path.name)


def answers_from_toml(data: bytes, where: str = "answers.toml") -> SafetyAnswers:
    """Read the content of an answers.toml; see :func:`read_answers`.

    Examples
    --------
    >>> answers_from_toml(b'clearance = "yes"').clearance
    'yes'
    """
    try:
        form = _AnswersForm.model_validate(tomllib.loads(data.decode("utf-8-sig")))
    # deep nesting runs out of stack before it is found wrong
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise SafetyError(
            f"The answers are not readable as TOML: {error}.", where=where, do="Correct that line."
        ) from error
    except ValidationError as error:
        first = error.errors()[0]
        place = place_in_file(first["loc"])
        raise SafetyError(f"{place}: {first['msg']}.", where=where, do="Correct that answer.") from error
    return SafetyAnswers(
        form.clearance,
        form.clearance_by,
        tuple(form.signs.items()),
        tuple(form.conditions.items()),
        form.conditions_asked,
        tuple(check_arterial(ArterialCheck(**check.model_dump()), where) for check in form.arterial),
    )


def answers_to_toml(answers: SafetyAnswers) -> str:
    """Return answers as the text of an answers.toml; what was not asked is left out.

    Examples
    --------
    >>> answers_to_toml(SafetyAnswers("yes", signs=(("infection", False),))).splitlines()
    ['clearance = "yes"', '[signs]', 'infection = false']
    """
    lines = []
    if answers.clearance != "not-asked":
        lines.append(f'clearance = "{answers.clearance}"')
    if answers.clearance_by:
        lines.append(f'clearance_by = "{answers.clearance_by}"')
    if answers.conditions_asked is not None:
        lines.append(f"conditions_asked = {answers.conditions_asked.isoformat()}")
    for name, pairs in (("signs", answers.signs), ("conditions", answers.conditions)):
        if pairs:
            lines += [f"[{name}]", *(f"{code} = {str(there).lower()}" for code, there in pairs)]
    for check in answers.arterial:
        lines += ["[[arterial]]", f'kind = "{check.kind}"', f"value = {float(check.value)!r}"]
        lines += [f"when = {check.when.isoformat()}", f'side = "{check.side}"', f'by = "{check.by}"']
    return "\n".join(lines) + "\n"


def check_arterial(check: ArterialCheck, where: str = "") -> ArterialCheck:
    """Return a check as it is when its result can be one.

    Raises
    ------
    SafetyError
        The result is out of range for its kind, such as an index typed as a percentage.
    """
    low, high = _VALUE_RANGES[check.kind]
    if not low <= check.value <= high:
        raise SafetyError(
            f"{check.value:g} is no result of a check of kind {check.kind}: {low:g} to {high:g}.",
            where=where,
            do="Correct the value.",
        )
    return check
