"""What follows from one limb, or two: change, places for padding, a wrap."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.cli import show
from digitise.cli.options import (
    AnswersOption,
    BilateralOption,
    DespiteOption,
    ModelArgument,
    RecordsOption,
    read_given,
)
from digitise.paper import PageName

if TYPE_CHECKING:
    from digitise.care.wrap.garment import GirthList
    from digitise.output.model.file import StoredModel


def compare(
    first: Annotated[
        Path,
        typer.Argument(
            metavar="DIR_A", help="Model of the earlier visit; with --mirror of the swollen limb."
        ),
    ],
    second: Annotated[
        Path,
        typer.Argument(metavar="DIR_B", help="Model of the later visit; with --mirror, the other limb."),
    ],
    out: Annotated[
        Path, typer.Option("--out", help="Folder for the comparison; replaced when it holds one.")
    ],
    mirror: Annotated[bool, typer.Option("--mirror", help="Compare the two sides of the body.")] = False,
    bilateral: BilateralOption = False,
    as_json: show.JsonOption = False,
) -> None:
    """Show what changed between two visits of a limb, or differs between the two sides."""
    from digitise.output.change.words import change_text
    from digitise.workflow.care import compare_folders

    if bilateral and not mirror:
        raise typer.BadParameter(
            "it goes with --mirror, which compares the two sides.", param_hint="--bilateral"
        )
    with show.steps() as progress:
        progress("Comparing")
        summary = compare_folders(first, second, out, mirror=mirror, bilateral=bilateral)
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(change_text(summary, out)))


def pad(
    model: ModelArgument,
    out: Annotated[Path, typer.Option("--out", help="Folder for the places; replaced when it holds some.")],
    against: Annotated[
        Path | None,
        typer.Option("--against", help="Model of the other limb or of another visit to hold it against."),
    ] = None,
    place: Annotated[
        list[int] | None,
        typer.Option("--place", help="Draw foam for the place of this number only; give it for each."),
    ] = None,
    margin: Annotated[
        float,
        typer.Option("--margin", callback=show.finite, help="How far foam reaches beyond its place, mm."),
    ] = MARGIN_MM,
    bevel: Annotated[
        float, typer.Option("--bevel", callback=show.finite, help="Width of foam's thinned edge, mm.")
    ] = BEVEL_MM,
    paper: Annotated[PageName, typer.Option("--paper", help="Paper for the foam.")] = "a4",
    client: Annotated[
        str,
        typer.Option(
            "--client",
            help="The client's code, never a name: for the foam, and to ask the records about safety.",
        ),
    ] = "",
    every: Annotated[
        bool, typer.Option("--all", help="List every place, not the most certain three only.")
    ] = False,
    answers: AnswersOption = None,
    despite: DespiteOption = "",
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """List places that may need padding, and draw foam for them at true size."""
    from digitise.output.padding.files import pad_text
    from digitise.record.check import client_code
    from digitise.workflow.care import pad_folder
    from digitise.workflow.safety import client_answers

    _check_records(client, records)
    code = client_code(client) if client else ""
    known = client_answers(code, records, read_given(answers))
    with show.steps() as progress:
        progress("Looking for places")
        summary = pad_folder(
            model,
            out,
            against=against,
            chosen=place or (),
            margin_mm=margin,
            bevel_mm=bevel,
            paper=paper,
            code=code,
            every=every,
            answers=known,
            despite=despite,
        )
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(pad_text(summary, out)))


def wrap(
    model: ModelArgument,
    out: Annotated[Path, typer.Option("--out", help="Folder for the wrap; replaced when it holds one.")],
    plan: Annotated[
        Path | None, typer.Option("--plan", help="What goes on the limb, a plan.toml; else one is suggested.")
    ] = None,
    garment: Annotated[
        bool, typer.Option("--garment", help="Also list girths and lengths for ordering a garment.")
    ] = False,
    point: Annotated[
        list[str] | None,
        typer.Option(
            "--point", help="Height of a lettered point set by hand, such as B=150, mm; once for each."
        ),
    ] = None,
    all_points: Annotated[
        bool, typer.Option("--all-points", help="List points whose letter is known from memory only, too.")
    ] = False,
    course: Annotated[
        Path | None,
        typer.Option("--course", help="course.json: a limb that still changes gets no girth list."),
    ] = None,
    anyway: Annotated[
        bool, typer.Option("--anyway", help="List girths although the limb still changes.")
    ] = False,
    answers: AnswersOption = None,
    despite: DespiteOption = "",
    client: Annotated[
        str,
        typer.Option("--client", help="The client's code, never a name: to ask the records about safety."),
    ] = "",
    records: RecordsOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Work out what a wrap takes and how pressure runs along the limb."""
    from digitise.care.wrap.plan import read_plan
    from digitise.output.model.file import read_model
    from digitise.output.wrap.words import wrap_text
    from digitise.record.check import client_code
    from digitise.workflow.care import wrap_model
    from digitise.workflow.safety import client_answers, released

    if not garment and (point or all_points or course or anyway):
        raise typer.BadParameter(
            "it is needed by --point, --all-points, --course and --anyway.", param_hint="--garment"
        )
    _check_records(client, records)
    heights = _points(point or ())
    known = client_answers(client_code(client) if client else "", records, read_given(answers))
    given = None if plan is None else read_plan(plan)
    limb = read_model(model)
    safety = released(limb.summary, ("wrap", "garment") if garment else ("wrap",), known, despite)
    girths = _girths(limb, heights, course, all_points, anyway) if garment else None
    summary = wrap_model(limb, out, given, girths, safety)
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(wrap_text(summary, out)))


def _check_records(client: str, records: str | None) -> None:
    if records is not None and not client:
        raise typer.BadParameter("it is needed by --records.", param_hint="--client")


def _girths(
    limb: StoredModel, heights: dict[str, float], course: Path | None, optional: bool, override: bool
) -> GirthList:
    from digitise.care.wrap.garment import girth_list
    from digitise.output.course.form import read_stable

    stable = None if course is None else read_stable(course, limb.summary)
    return girth_list(limb.limb, heights, stable=stable, override=override, optional=optional)


def _points(words: Sequence[str]) -> dict[str, float]:
    points = [_point(word) for word in words]
    letters = [letter for letter, _ in points]
    twice = next((letter for letter in letters if letters.count(letter) > 1), None)
    if twice is not None:
        raise typer.BadParameter(f"{twice} is given twice.", param_hint="--point")
    return dict(points)


def _point(word: str) -> tuple[str, float]:
    letter, _, height = word.partition("=")
    try:
        return letter.strip(), cast(float, show.finite(float(height)))
    except ValueError as problem:
        raise typer.BadParameter("write it like B=150, in mm.", param_hint="--point") from problem
