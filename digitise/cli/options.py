"""Arguments and options that several commands share."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from digitise.errors import RecordError

if TYPE_CHECKING:
    from digitise.care.safety.answers import SafetyAnswers

Posture = Literal["palm-down", "palm-up", "on-back"]
NONE = "none"  # stands for another limb that was not measured

PhotosArgument = Annotated[
    list[Path], typer.Argument(metavar="PHOTO...", help="Photographs: JPEG, PNG or HEIC.")
]
FieldOption = Annotated[
    Path, typer.Option("--field", help="The field.json that was written together with the printed sheets.")
]
LensOption = Annotated[Path | None, typer.Option("--lens", help="A lens profile made by digitise lens.")]
ModelArgument = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that digitise model wrote.")]
RecordsOption = Annotated[
    str | None,
    typer.Option(
        "--records", help="File or address of the records; else DIGITISE_RECORDS, else your folder."
    ),
]
WhenOption = Annotated[
    list[str] | None,
    typer.Option(
        "--when",
        help="Time of the visit, such as 2026-03-02T09:15; once for each DIR, in order. Else the time when "
        "the model was made.",
    ),
]
ReferenceOption = Annotated[
    list[str] | None,
    typer.Option("--reference", help="Model of the other limb, or none; once for each DIR, in order."),
]
BilateralOption = Annotated[
    bool, typer.Option("--bilateral", help="Both limbs are swollen: no percentages of excess.")
]
AnswersOption = Annotated[
    Path | None,
    typer.Option("--answers", help="What was answered about the client's safety: an answers.toml."),
]
DespiteOption = Annotated[
    str,
    typer.Option("--despite", help="Why it is to be made although it is withheld; printed on it, no names."),
]


def read_given(answers: Path | None) -> SafetyAnswers | None:
    """Return the answers of a file given with ``--answers``; None without one.

    Raises
    ------
    SafetyError
        It cannot be read.
    """
    from digitise.care.safety.answers_file import read_answers

    return None if answers is None else read_answers(answers)


def visit_time(word: str) -> datetime:
    """Return a time typed for ``--when``; without a zone it is this computer's.

    Raises
    ------
    typer.BadParameter
        It is no time, or lies before 2000 or in the future.
    """
    from digitise.record.check import check_time

    try:
        time = datetime.fromisoformat(word)
        time = time if time.tzinfo else time.astimezone()
        check_time(time, "--when")
        return time
    except RecordError as problem:
        raise typer.BadParameter(problem.what, param_hint="--when") from problem
    except (ValueError, OverflowError) as problem:
        raise typer.BadParameter(
            f"{word} is no time; write it like 2026-03-02T09:15.", param_hint="--when"
        ) from problem
