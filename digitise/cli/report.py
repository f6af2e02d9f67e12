"""The report on the command line: visits of one limb become a PDF, and files for other programs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.cli import show
from digitise.cli.options import (
    NONE,
    AnswersOption,
    BilateralOption,
    DespiteOption,
    RecordsOption,
    ReferenceOption,
    WhenOption,
    read_given,
    visit_time,
)
from digitise.errors import ModelError, OutputError, RecordError
from digitise.paper import PageName
from digitise.unfinished import temporary_folder

if TYPE_CHECKING:
    from digitise.output.report.content import Report, ReportVisit
    from digitise.workflow.report import ReportOptions


def report(
    out: Annotated[
        Path, typer.Option("--out", help="File for the report, a PDF; from the records, a folder for them.")
    ],
    folders: Annotated[
        list[Path] | None,
        typer.Argument(
            metavar="DIR...",
            help="Folders that digitise model wrote, one for each visit; none to report from the records.",
        ),
    ] = None,
    paper: Annotated[PageName, typer.Option("--paper", help="Size of the paper.")] = "a4",
    client: Annotated[
        str,
        typer.Option(
            "--client",
            help="The client's code, never a name; without DIR, whose visits to take from the records.",
        ),
    ] = "",
    every: Annotated[
        bool, typer.Option("--all", help="From the records: a report on every limb of every client.")
    ] = False,
    records: RecordsOption = None,
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
    answers: AnswersOption = None,
    despite: DespiteOption = "",
    as_json: show.JsonOption = False,
) -> None:
    """Write a report on a limb: volume, girths, change and course, with intervals and pictures."""
    from digitise.care.wrap.plan import read_plan
    from digitise.workflow.report import ReportOptions

    known = read_given(answers)
    options = ReportOptions(
        places, wrap, garment, read_plan(plan) if plan else None, bilateral, sem, known, despite
    )
    if every and (answers or despite):
        raise typer.BadParameter("it is about one client.", param_hint="--answers or --despite")
    if not folders:
        if when or reference or fhir or figures:
            raise typer.BadParameter("name the folders that it belongs to.", param_hint="DIR...")
        _from_records(out, records, client, options, paper, every=every, as_json=as_json)
        return
    if records is not None and not client:
        raise typer.BadParameter("it is needed by --records.", param_hint="--client")
    if every:
        raise typer.BadParameter("give folders, or take all from the records.", param_hint="--all")
    from digitise.output.report.fhir import fhir_bundle, fhir_text
    from digitise.output.report.pdf import report_pdf
    from digitise.record.check import client_code
    from digitise.workflow.report import make_report
    from digitise.workflow.safety import client_answers

    _check_files(out, fhir, figures)
    code = client_code(client) if client else ""
    found = client_answers(code, records, known, releases=bool(options.pressing))
    options = replace(options, answers=found)
    visits = _visits(folders, when or [], reference or [])
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


def _from_records(
    out: Path,
    records: str | None,
    client: str,
    options: ReportOptions,
    paper: PageName,
    *,
    every: bool,
    as_json: bool,
) -> None:
    """Write a PDF for each limb of one client, or of all, into a folder."""
    from digitise.output.report.pdf import report_pdf
    from digitise.record.check import client_code
    from digitise.record.store import Store
    from digitise.workflow.stored_report import stored_reports

    if every == bool(client):
        raise typer.BadParameter("name folders, or one client with --client, or --all.", param_hint="DIR...")
    with show.writing(out):
        out.mkdir(parents=True, exist_ok=True)
    written, left = [], []
    with Store(records, create=False) as store:
        codes = [one.code for one in store.list_clients()] if every else [client_code(client)]
        for code in codes:
            try:
                for made in stored_reports(store, code, options):
                    if made.report is None:
                        left.append({"report": made.name, "reason": made.reason})
                        continue
                    _write(out / f"{made.name}.pdf", report_pdf(made.report, paper))
                    written.append(f"{made.name}.pdf")
            except (RecordError, ModelError) as error:
                if not every:
                    raise
                left.append({"report": code, "reason": str(error)})
    words = [f"Reports in {out}: {len(written)}. Read each before passing it on."]
    words += [f"  {each['report']}: {each['reason']}" for each in left]
    data = {"reports": written, "left_out": left}
    show.result(as_json, data, lambda console: console.print(show.lines(words)))
    if left and not written and not every:
        show.refusal("No report was written; the reasons are told above.")


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
    _refuse_other(out, b"%PDF-", "report")
    if fhir is not None:
        _refuse_other(fhir, b'"resourceType"', "FHIR Bundle")


def _refuse_other(path: Path, sign: bytes, what: str) -> None:
    """Refuse to replace a file that is no earlier one of its kind: a tape table is soon named by mistake."""
    with show.writing(path):
        if not path.exists():
            return
        with path.open("rb") as stream:
            start = stream.read(200)
    if start and sign not in start:
        raise OutputError(
            f"This file is no {what} and is left as it is.", where=str(path), do="Name a new file."
        )


def _write_figures(folder: Path, made: Report) -> None:
    from digitise.output.figures import style as figures_style
    from digitise.output.report.pdf import report_figures

    with show.writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    for name, draw in report_figures(made).items():
        _write(folder / f"{name}.png", figures_style.png(draw))
        _write(folder / f"{name}.svg", figures_style.svg(draw).encode())
