"""What follows from one limb, or two: change, places for padding, a wrap."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from digitise.care.change import compare as compare_limbs
from digitise.care.foam import BEVEL_MM, MARGIN_MM
from digitise.careflow import places_of, read_two
from digitise.cli import show
from digitise.output.care_pad_files import Padding, pad_text, write_padding
from digitise.output.care_pad_foam import make_foam
from digitise.output.change_files import write_change
from digitise.output.change_summary import Compared
from digitise.output.change_text import change_text
from digitise.output.model_file import read_model
from digitise.record.check import client_code

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
        float, typer.Option("--margin", help="How far foam reaches beyond its place, mm.")
    ] = MARGIN_MM,
    bevel: Annotated[float, typer.Option("--bevel", help="Width of foam's thinned edge, mm.")] = BEVEL_MM,
    paper: Annotated[Literal["a4", "letter"], typer.Option("--paper", help="Paper for the foam.")] = "a4",
    client: Annotated[
        str, typer.Option("--client", help="The client's code to print on the foam; never a name.")
    ] = "",
    as_json: show.JsonOption = False,
) -> None:
    """List places that may need padding, and draw foam for them at true size."""
    code = client_code(client) if client else ""
    with show.steps() as progress:
        progress("Reading models")
        if against is None:
            limb, reference = read_model(model), None
        else:
            limb, reference = read_two(model, against)
        progress("Looking for places")
        regions, form = places_of(limb, reference)
        foam = make_foam(limb.limb, regions, place or (), margin_mm=margin, bevel_mm=bevel)
        progress("Writing")
        summary = write_padding(out, Padding(limb, regions, foam, form, paper, code))
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(pad_text(summary, out)))
