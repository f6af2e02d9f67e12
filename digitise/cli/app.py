"""The frame of the command line: the list of commands, and what becomes of errors."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from digitise import __version__
from digitise.cli import capture, care, course, model, record, report, show, ui
from digitise.errors import DigitiseError

WRONG_USE = 2

app = typer.Typer(
    name="digitise",
    help="Measure a swollen limb from photographs and a few tape girths. It measures, shows and cautions; "
    "it never diagnoses.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

app.command("sheets")(capture.sheets)
app.command("check")(capture.check)
app.command("lens")(capture.lens)
app.command("model")(model.model)
app.command("compare")(care.compare)
app.command("pad")(care.pad)
app.command("wrap")(care.wrap)
app.command("course")(course.course)
app.command("demo")(model.demo)
app.command("report")(report.report)
app.command("ui")(ui.ui)
app.add_typer(record.app, name="record")


def _print_version(wanted: bool) -> None:
    if wanted:
        print(f"digitise {__version__}")
        raise typer.Exit


@app.callback()
def _common(
    version: Annotated[
        bool, typer.Option("--version", callback=_print_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass


def run(words: Sequence[str]) -> None:
    """Run one command and exit: 0 done, 2 wrong use, 3 input that cannot be used."""
    as_json = "--json" in words
    show.forgiving_streams()
    try:
        app(list(words), prog_name="digitise")
    except DigitiseError as error:
        show.error(error, as_json)
        sys.exit(show.UNUSABLE_INPUT)
    except SystemExit as end:
        if end.code == WRONG_USE and as_json:
            show.wrong_use()
        raise
