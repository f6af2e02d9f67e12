"""The report on the command line: visits of one limb become a PDF, and files for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.cli import show
from digitise.cli.options import NONE, BilateralOption, ReferenceOption, WhenOption
from digitise.cli.times import visit_time
from digitise.errors import OutputError
from digitise.paper import PageName
from digitise.unfinished import temporary_folder

if TYPE_CHECKING:
    from digitise.output.report.content import Report, ReportVisit


def report(
    folders: Annotated[
        list[Path],
        typer.Argument(metavar="DIR...", help="Folders that digitise model wrote, one for each visit."),
    ],
    out: Annotated[Path, typer.Option("--out", help="File for the report, a PDF.")],
    paper: Annotated[PageName, typer.Option("--paper", help="Size of the paper.")] = "a4",
    client: Annotated[str, typer.Option("--client", help="The client's code; never a name.")] = "",
    when: WhenOption = None,
    reference: ReferenceOption = None,
    bilateral: BilateralOption = False,
    sem: Annotated[
        float | None,
        typer.Option(
            "--sem",
            callback=show.repeat_error,
            help="Repeat error in percent, as digitise course --repeat found it.",
        ),
    ] = None,
    places: Annotated[bool, typer.Option("--places", help="List places that may need padding.")] = False,
    wrap: Annotated[bool, typer.Option("--wrap", help="Add a wrap sheet.")] = False,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="A plan.toml for the wrap sheet; suggested when not given.")
    ] = None,
    garment: Annotated[bool, typer.Option("--garment", help="Add the girth list for a garment.")] = False,
    fhir: Annotated[
        Path | None, typer.Option("--fhir", help="Also write a FHIR R4 Bundle of Observations to this file.")
    ] = None,
    figures: Annotated[
        Path | None, typer.Option("--figures", help="Also write the figures as PNG and SVG into this folder.")
    ] = None,
    as_json: show.JsonOption = False,
) -> None:
    """Write a report on a limb: volume, girths, change and course, with intervals and pictures."""
    from digitise.care.wrap.plan import read_plan
    from digitise.output.report.fhir import fhir_bundle, fhir_text
    from digitise.output.report.pdf import report_pdf
    from digitise.record.check import client_code
    from digitise.workflow.report import ReportOptions, make_report

    _check_files(out, fhir, figures)
    code = client_code(client) if client else ""
    visits = _visits(folders, when or [], reference or [])
    options = ReportOptions(places, wrap, garment, read_plan(plan) if plan else None, bilateral, sem)
    with show.steps() as progress:
        progress("Comparing")
        made = make_report(visits, options, client=code)
        progress("Drawing")
        _write(out, report_pdf(made, paper))
        if fhir is not None:
            _write(fhir, fhir_text(fhir_bundle(visits, made)).encode())
        if figures is not None:
            _write_figures(figures, made)
    count = "1 visit" if len(visits) == 1 else f"{len(visits)} visits"
    words = f"{out}: report of {count}. Read it before passing it on."
    show.result(as_json, made.form.model_dump(mode="json"), lambda console: console.print(words))


def _visits(
    folders: Sequence[Path], when: Sequence[str], reference: Sequence[str]
) -> tuple[ReportVisit, ...]:
    from digitise.workflow.report import read_visits

    for name, given in (("--when", when), ("--reference", reference)):
        if given and len(given) != len(folders):
            raise typer.BadParameter(
                f"{len(given)} given for {len(folders)} folder(s): give one for each, in order.",
                param_hint=name,
            )
    others = [None if word == NONE else Path(word) for word in reference]
    return read_visits(folders, [visit_time(text) for text in when], others)


def _write(path: Path, data: bytes) -> None:
    """Write a file beside its place and move it there, so that no half a file is ever left."""
    with show.writing(path), temporary_folder(path.parent) as scratch:
        half = scratch / "half"
        half.write_bytes(data)
        half.replace(path)


def _check_files(out: Path, fhir: Path | None, figures: Path | None) -> None:
    """Refuse places that cannot hold the files, and one place for two of them, before any work."""
    try:
        places = [path.resolve() for path in (out, fhir, figures) if path is not None]
        folders = [path for path in (out, fhir) if path is not None and (path.is_dir() or not path.name)]
    except (OSError, ValueError, RuntimeError) as error:  # too long, a zero byte, links in a circle
        reason = getattr(error, "strerror", None) or error
        raise OutputError(f"This name cannot be used ({reason}).", do="Choose another name.") from error
    if folders:
        raise OutputError("This is a folder.", where=str(folders[0]), do="Name a file in it.")
    if len(set(places)) < len(places):
        raise typer.BadParameter("give each file a name of its own.", param_hint="--out, --fhir, --figures")


def _write_figures(folder: Path, made: Report) -> None:
    from digitise.output.figures import style as figures_style
    from digitise.output.report.pdf import report_figures

    with show.writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    for name, draw in report_figures(made).items():
        _write(folder / f"{name}.png", figures_style.png(draw))
        _write(folder / f"{name}.svg", figures_style.svg(draw).encode())
