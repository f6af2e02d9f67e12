"""What follows from one limb, or two: change, places for padding, a wrap."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from digitise.care.change import compare as compare_limbs
from digitise.careflow import read_two
from digitise.cli import show
from digitise.output.change_files import write_change
from digitise.output.change_summary import Compared
from digitise.output.change_text import change_text

ModelArgument = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that digitise model wrote.")]


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
    bilateral: Annotated[
        bool, typer.Option("--bilateral", help="Both limbs are swollen: no percentages of excess.")
    ] = False,
    as_json: show.JsonOption = False,
) -> None:
    """Show what changed between two visits of a limb, or differs between the two sides."""
    if bilateral and not mirror:
        raise typer.BadParameter(
            "it goes with --mirror, which compares the two sides.", param_hint="--bilateral"
        )
    with show.steps() as progress:
        progress("Reading models")
        one, other = read_two(first, second)
        progress("Comparing")
        change = compare_limbs(one.limb, other.limb, mirrored=mirror)
        progress("Writing")
        summary = write_change(out, Compared(change, one.summary, other.summary, bilateral))
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(change_text(summary, out)))
