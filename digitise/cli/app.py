"""The frame of the command line: the list of commands, and what becomes of errors."""

from __future__ import annotations

import os
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
from digitise.words import ENGLISH, language, languages, shown
from digitise.words.language import VARIABLE, known

WRONG_USE = 2

# The module of each command, and what it does, as its own help says too.  A module is loaded when its command
# is called; the list of commands needs none of them.
COMMANDS = {
    "sheets": ("capture", "Make the sheets to print, and the field.json that belongs to them."),
    "check": ("capture", "Tell whether photographs of a visit can be used, and what to retake."),
    "lens": (
        "capture",
        "Measure a phone's lens from eight or more photographs of a sheet, for use with --lens.",
    ),
    "model": ("model", "Make a 3-D limb with error bars from photographs and tape girths."),
    "both": (
        "both",
        "Measure both legs of a person with both feet on the mat, from the front, the left and the right.",
    ),
    "compare": ("care", "Show what changed between two visits of a limb, or differs between the two sides."),
    "pad": ("care", "List places that may need padding, and draw foam for them at true size."),
    "wrap": ("care", "Work out what a wrap takes and how pressure runs along the limb."),
    "course": (
        "course",
        "Follow a limb over its visits: does it still shrink, has it levelled off, or does it grow.",
    ),
    "report": (
        "report",
        "Write a report on a limb: volume, girths, change and course, with intervals and pictures.",
    ),
    "batch": (
        "many",
        "Measure many visits that a table names; what cannot be measured is a row with its reason.",
    ),
    "remeasure": (
        "many",
        "Measure visits of the records again, beside the old models; keep them only when told to.",
    ),
    "study": (
        "study",
        "Write all records as tables for statistics, codes and figures only, with a cohort chart.",
    ),
    "agreement": (
        "study",
        "Tell from the records how well measurements of one limb on one day agree.",
    ),
    "record": ("record", "Keep visits by a client's code, never by a name."),
    "ui": ("ui", "Open the page in the browser; it runs on this machine only, until Ctrl-C."),
    "demo": (
        "model",
        "Do the whole job on the sample photographs: two limbs, what changed, places for padding, a wrap.",
    ),
}


class _Commands(TyperGroup):
    """Commands that are loaded when they are called."""

    def __init__(self, **attributes: Any) -> None:
        super().__init__(**attributes)
        # the names alone: they are listed, and offered where one is misspelt
        self.commands = dict.fromkeys(COMMANDS, cast(Any, None))
        _own_words(self)

    def get_command(self, ctx: object, cmd_name: str) -> Any:  # noqa: ARG002
        """Load a command, or group of commands, from its module."""
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"digitise.cli.{COMMANDS[cmd_name][0]}")
        alone = typer.Typer(rich_markup_mode=None)
        if hasattr(module, "app"):
            alone.add_typer(module.app, name=cmd_name)
        else:
            alone.command(cmd_name)(getattr(module, cmd_name))
        return _in_language(get_group(alone).commands[cmd_name])

    def format_commands(self, ctx: object, formatter: Any) -> None:  # noqa: ARG002
        """List what each command does, in full."""
        with formatter.section(shown("Commands")):
            formatter.write_dl([(name, shown(words)) for name, (_, words) in COMMANDS.items()])


def _own_words(command: Any) -> None:
    if language() != ENGLISH:
        command.help = shown(" ".join((command.help or "").split()))
        for option in command.params:
            if getattr(option, "help", None):
                option.help = shown(option.help)


def _in_language(command: Any) -> Any:
    """Return a command, or a group of them, with its help in the reader's language."""
    _own_words(command)
    for inside in getattr(command, "commands", {}).values():
        _in_language(inside)
    return command


app = typer.Typer(
    name="digitise",
    cls=_Commands,
    help="Measure a swollen limb from photographs and a few tape girths. It measures, shows and cautions; "
    "it never diagnoses.",
    no_args_is_help=True,
    # plain help: boxes take a library that costs more than all the rest of it
    rich_markup_mode=None,
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
    language: Annotated[  # read before anything else, see run
        str, typer.Option("--language", help="Language to speak: en or de; else that of the machine.")
    ] = "",
) -> None:
    pass


def _asked_language(words: Sequence[str]) -> str:
    """Return the language named before the command: help is written before options are read.

    Raises
    ------
    DigitiseError
        It is none of those there are.
    """
    for word, after in zip(words, (*words[1:], ""), strict=False):
        if not word.startswith("-"):
            break
        name, _, value = word.partition("=")
        if name == "--language":
            asked = value or after
            if known(asked):
                return known(asked)
            raise DigitiseError(
                f"There is no language {asked!r}.", where=name, do=f"Use one of {', '.join(languages())}."
            )
    return ""


def run(words: Sequence[str]) -> None:
    """Run one command and exit: 0 done, 2 wrong use, 3 input that cannot be used."""
    as_json = "--json" in words
    show.forgiving_streams()
    try:
        # what is started from here speaks it, too
        asked = _asked_language(words)
        if asked:
            os.environ[VARIABLE] = asked
        app(list(words), prog_name="digitise")
    except DigitiseError as error:
        show.error(error, as_json)
        sys.exit(show.UNUSABLE_INPUT)
    except SystemExit as end:
        if end.code == WRONG_USE and as_json:
            show.wrong_use()
        raise
