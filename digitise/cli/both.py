"""Both legs on the command line, from one set of photographs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.anatomy import Side
from digitise.cli import show
from digitise.cli.options import BilateralOption, FieldOption, LensOption, PhotosArgument
from digitise.words import shown

if TYPE_CHECKING:
    from digitise.workflow.both.beside import BothLimbs


def both(
    photos: PhotosArgument,
    field: FieldOption,
    left_tape: Annotated[Path, typer.Option("--left-tape", help="Girths of the left leg, as for model.")],
    right_tape: Annotated[Path, typer.Option("--right-tape", help="Girths of the right leg, as for model.")],
    out: Annotated[
        Path, typer.Option("--out", help="Folder; the legs go into left and right in it, replaced there.")
    ],
    from_mm: Annotated[
        float | None,
        typer.Option("--from", callback=show.finite, help="Lowest height of both, mm; found when not given."),
    ] = None,
    to_mm: Annotated[
        float | None,
        typer.Option("--to", callback=show.finite, help="Highest height of both, mm; found when not given."),
    ] = None,
    lens_profile_file: LensOption = None,
    bilateral: BilateralOption = False,
    same_visit: Annotated[
        bool,
        typer.Option("--same-visit", help="All photographs are of one visit, whatever their times say."),
    ] = False,
    as_json: show.JsonOption = False,
) -> None:
    """Measure both legs of a person with both feet on the mat, from the front, the left and the right."""
    from digitise.capture.calibration.lens import read_lens
    from digitise.capture.sheets.field import read_field
    from digitise.output.model.files import check_model_folder, write_model
    from digitise.output.model.words import summary_text
    from digitise.tape.table import read_tape_table
    from digitise.workflow.both.beside import both_limbs
    from digitise.workflow.both.legs import measure_both_legs
    from digitise.workflow.visits.sources import from_folders

    profile = read_lens(lens_profile_file) if lens_profile_file else None
    known = read_field(field)
    tapes = {Side.LEFT: read_tape_table(left_tape), Side.RIGHT: read_tape_table(right_tape)}
    folders = {side: out / side for side in Side}
    for folder in folders.values():
        check_model_folder(folder)
    with show.steps() as progress:
        legs = measure_both_legs(
            photos,
            known,
            tapes,
            from_mm=from_mm,
            to_mm=to_mm,
            profile=profile,
            same_visit=same_visit,
            progress=progress,
        )
        progress("Writing")
        out.mkdir(parents=True, exist_ok=True)
        found = {side: write_model(folders[side], measured) for side, measured in legs.measured.items()}
    visits = from_folders([folders[side] for side in found])
    beside = both_limbs(visits[0], visits[1:], bilateral=bilateral)
    data = {side.value: summary.model_dump(mode="json") for side, summary in found.items()}
    texts = [summary_text(summary, folders[side]) for side, summary in found.items()]
    texts += [] if beside is None else [shown(_beside_text(beside))]
    for error in legs.trouble.values():
        show.note(str(error))
    show.result(as_json, data, lambda console: console.print("\n\n".join(texts)))
    if legs.trouble:
        raise typer.Exit(show.UNUSABLE_INPUT)


def _beside_text(found: BothLimbs) -> str:
    """Return how the legs differ, in words."""
    low, high = (float(end) for end in found.excess.excess_ml.interval_95)
    between = f"between {found.from_mm:.0f} and {found.to_mm:.0f} mm"
    if not found.is_clear:
        return f"No clear difference of the two legs {between}: {low:+.0f} to {high:+.0f} mL (95 %)."
    percent = found.excess.percent
    share = "" if percent is None else f" ({float(percent.mean):.1f} %)"
    return (
        f"The {found.larger} leg holds {float(found.excess.excess_ml.mean):.0f} mL{share} more than the "
        f"{found.smaller} one {between}; 95 % interval {low:.0f} to {high:.0f} mL."
    )
