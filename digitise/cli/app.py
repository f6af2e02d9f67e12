"""The frame of the command line: the list of commands, and what becomes of errors."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Annotated, Any, cast

import typer
from typer.core import TyperGroup
from typer.main import get_group

from digitise import __version__
from digitise.cli import show
from digitise.errors import DigitiseError

WRONG_USE = 2

# The module of each command.  Only the one that is called is loaded: the libraries of all take a second.
_COMMANDS = {
    "sheets": "capture",
    "check": "capture",
    "lens": "capture",
    "model": "model",
    "compare": "care",
    "pad": "care",
    "wrap": "care",
    "course": "course",
    "report": "report",
    "record": "record",
    "ui": "ui",
    "demo": "model",
}


class _Commands(TyperGroup):
    """Commands that are loaded when they are called or listed."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        # the names alone: they are listed, and offered where one is misspelt
        self.commands = dict.fromkeys(_COMMANDS, cast(Any, None))

    def get_command(self, ctx: object, cmd_name: str) -> Any:  # noqa: ARG002
        """Load a command, or group of commands, from its module."""
        if cmd_name not in _COMMANDS:
            return None
        module = import_module(f"digitise.cli.{_COMMANDS[cmd_name]}")
        alone = typer.Typer()
        if hasattr(module, "app"):
            alone.add_typer(module.app, name=cmd_name)
        else:
            alone.command(cmd_name)(getattr(module, cmd_name))
        return get_group(alone).commands[cmd_name]


app = typer.Typer(
    name="digitise",
    cls=_Commands,
    help="Measure a swollen limb from photographs and a few tape girths. It measures, shows and cautions; "
    "it never diagnoses.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


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
