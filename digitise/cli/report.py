"""The report on the command line: visits of one limb become a PDF, and files for other programs."""

from __future__ import annotations

import os
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Annotated, Literal

import typer

from digitise.care.plan import read_plan
from digitise.cli import show
from digitise.output import figures_style
from digitise.output.fhir import fhir_bundle, fhir_text
from digitise.output.model_file import read_model
from digitise.output.report_content import Report, ReportVisit, Wishes, make_report
from digitise.output.report_pdf import report_figures, report_pdf
from digitise.record.check import client_code

PaperName = Literal["a4", "letter"]


def report(
    folders: Annotated[
        list[Path],
        typer.Argument(metavar="DIR...", help="Folders that digitise model wrote: the visits of one limb."),
    ],
    out: Annotated[Path, typer.Option("--out", help="File for the report, a PDF.")],
    paper: Annotated[PaperName, typer.Option("--paper", help="Size of the paper.")] = "a4",
    client: Annotated[str, typer.Option("--client", help="The client's code; never a name.")] = "",
    when: Annotated[
        list[str] | None,
        typer.Option(
            "--when",
            help="When a visit took place, such as 2026-03-02 or 2026-03-02T09:15; once for each folder, in "
            "the same order. Else the time when the model was made.",
        ),
    ] = None,
    other: Annotated[
        list[Path] | None,
        typer.Option(
            "--other",
            help="The other limb's folder: once for each folder, in the same order; or once alone, for the "
            "last visit.",
        ),
    ] = None,
    bilateral: Annotated[
        bool, typer.Option("--bilateral", help="Both limbs are swollen: no percentages of excess.")
    ] = False,
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
    code = client_code(client) if client else ""
    visits = _visits(folders, when or [], other or [])
    wishes = Wishes(places, wrap or plan is not None, garment, read_plan(plan) if plan else None, bilateral)
    with show.steps() as progress:
        progress("Comparing")
        made = make_report(visits, client=code, wishes=wishes)
        progress("Drawing")
        _write(out, report_pdf(made, paper))
        if fhir is not None:
            _write(fhir, fhir_text(fhir_bundle(visits, made)).encode())
        if figures is not None:
            _write_figures(figures, made)
    count = "1 visit" if len(visits) == 1 else f"{len(visits)} visits"
    words = f"{out}: report of {count}. Read it before passing it on."
    show.result(as_json, made.form.model_dump(mode="json"), lambda console: console.print(words))


def _visits(folders: Sequence[Path], when: Sequence[str], other: Sequence[Path]) -> list[ReportVisit]:
    if when and len(when) != len(folders):
        raise typer.BadParameter(f"{len(folders)} folders, but {len(when)} times", param_hint="--when")
    if len(other) not in (0, 1, len(folders)):
        raise typer.BadParameter("give one for each folder, or one for the last", param_hint="--other")
    models = [read_model(folder) for folder in folders]
    times = [_time(text) for text in when] or [model.summary.created for model in models]
    latest = max(range(len(models)), key=lambda n: times[n])
    places = range(len(folders)) if len(other) == len(folders) else [latest]
    others = {n: read_model(folder) for n, folder in zip(places, other, strict=False)}
    return [ReportVisit(model, times[n], others.get(n)) for n, model in enumerate(models)]


def _time(text: str) -> datetime:
    try:
        found = datetime.fromisoformat(text)
        return found if found.tzinfo else found.astimezone()  # without a zone it is this computer's
    except (ValueError, OverflowError) as problem:
        raise typer.BadParameter(
            f"{text!r} is no time; write it like 2026-03-02T09:15", param_hint="--when"
        ) from problem


def _write(path: Path, data: bytes) -> None:
    """Write a file beside its place and move it there, so that no half a file is ever left."""
    with show.writing(path):
        half = path.with_name(f".{path.name}.{os.getpid()}")
        try:
            half.write_bytes(data)
            half.replace(path)
        finally:
            half.unlink(missing_ok=True)


def _write_figures(folder: Path, made: Report) -> None:
    with show.writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    for name, draw in report_figures(made).items():
        _write(folder / f"{name}.png", figures_style.png(draw))
        _write(folder / f"{name}.svg", figures_style.svg(draw).encode())
