"""The main job on the command line: a limb from photographs and tape."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.anatomy import CountedFrom, LimbKind, Side
from digitise.cli import show
from digitise.cli.options import FieldOption, LensOption, PhotosArgument, Posture
from digitise.errors import OutlineError, ShapeError

if TYPE_CHECKING:
    from digitise.capture.outline.correction import Correction
    from digitise.geometry.rigid import Pose
    from digitise.output.model.measured import Measured
    from digitise.samples import SampleVisit
    from digitise.workflow.posture.lying import Lying

_LANDMARK = r"\s*(\d{1,2})\s*,\s*(\d{1,5}(?:\.\d+)?)\s*,\s*(\d{1,5}(?:\.\d+)?)\s*"
_POINT = r"\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*,\s*(-?[\d.]+)\s*"


def model(
    photos: PhotosArgument,
    field: FieldOption,
    tape: Annotated[
        Path,
        typer.Option(
            "--tape", help="Girths: a CSV file with height_mm,girth_mm and, for foot or hand, place."
        ),
    ],
    limb: Annotated[LimbKind, typer.Option("--limb", help="Which limb.")],
    side: Annotated[Side, typer.Option("--side", help="Which side of the body.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the limb; replaced when it holds one.")],
    from_mm: Annotated[
        float | None,
        typer.Option(
            "--from", callback=show.finite, help="Lowest height to report, mm; found when not given."
        ),
    ] = None,
    to_mm: Annotated[
        float | None,
        typer.Option(
            "--to", callback=show.finite, help="Highest height to report, mm; found when not given."
        ),
    ] = None,
    lens_profile_file: LensOption = None,
    axis: Annotated[
        str | None,
        typer.Option(
            "--axis",
            help="For a limb that does not stand: two points x,y,z:x,y,z on its axis, mm in the mat's frame.",
        ),
    ] = None,
    lying: Annotated[
        Posture | None,
        typer.Option(
            "--lying", help="For a limb that lies over a marked sheet: how. Its axis is then found by itself."
        ),
    ] = None,
    landmark: Annotated[
        str | None,
        typer.Option(
            "--landmark",
            metavar="PHOTO,X,Y",
            help="With --lying: the place from which heights count (wrist crease, tip of the elbow, ankle "
            "bone): the photograph's number, and its pixels from the left and from the top.",
        ),
    ] = None,
    counted_from: Annotated[
        CountedFrom | None,
        typer.Option(
            "--counted-from",
            help="Which place the landmark is: visits that count from different ones are then not compared.",
        ),
    ] = None,
    hand: Annotated[
        list[Path] | None,
        typer.Option(
            "--hand",
            help="With --lying, heights counted from the wrist crease: a photograph from above of the hand, "
            "palm down on the mat; and a low one from beside, if there is one.",
        ),
    ] = None,
    corrections: Annotated[
        list[Path] | None,
        typer.Option("--correction", help="An outline drawn by hand, with the photograph's sha256 in it."),
    ] = None,
    same_visit: Annotated[
        bool,
        typer.Option("--same-visit", help="All photographs are of one visit, whatever their times say."),
    ] = False,
    as_json: show.JsonOption = False,
) -> None:
    """Make a 3-D limb with error bars from photographs and tape girths."""
    from digitise.capture.calibration.lens import read_lens
    from digitise.capture.sheets.field import read_field
    from digitise.output.model.files import check_model_folder, write_model
    from digitise.output.model.words import summary_text
    from digitise.tape.table import read_tape_table
    from digitise.workflow.measure import measure_limb

    axis_pose = None if axis is None else _axis(axis)
    lies = _lying(lying, landmark, axis, counted_from)
    profile = read_lens(lens_profile_file) if lens_profile_file else None
    known, table = read_field(field), read_tape_table(tape)
    check_model_folder(out)
    with show.steps() as progress:
        measured = measure_limb(
            photos,
            known,
            table.rows,
            limb=limb,
            side=side,
            from_mm=from_mm,
            to_mm=to_mm,
            axis_from_world=axis_pose,
            profile=profile,
            corrections=_corrections(corrections or [], photos),
            same_visit=same_visit,
            lying=lies,
            places=table.places,
            hand_paths=hand or [],
            progress=progress,
        )
        progress("Writing")
        summary = write_model(out, measured)
    _tell_names(measured)
    data = summary.model_dump(mode="json")
    show.result(as_json, data, lambda console: console.print(summary_text(summary, out)))


def _tell_names(measured: Measured) -> None:
    """Say which photograph has which name in the results, on stderr: file names are not passed on."""
    names = zip(measured.photos, measured.file_names, strict=True)
    other = [f"{photo.name} is {name}" for photo, name in names if photo.name != name]
    if other:
        show.note(f"In the results {', '.join(other)}.")


def demo(
    limb: Annotated[
        LimbKind, typer.Option("--limb", help="A leg that stands, or an arm that lies on a table.")
    ] = LimbKind.LEG,
    out: Annotated[Path, typer.Option("--out", help="Folder for the results.")] = Path("digitise-demo"),
    as_json: show.JsonOption = False,
) -> None:
    """Do the whole job on the sample photographs: two limbs, what changed, places for padding, a wrap."""
    from digitise.capture.sheets.field import read_field
    from digitise.output.model.files import write_model
    from digitise.output.model.words import summary_text
    from digitise.samples import sample_visits
    from digitise.tape.table import read_tape_table
    from digitise.workflow.measure import measure_limb

    found: dict[str, object] = {}
    texts = []
    with show.steps() as progress:
        visits = sample_visits(limb)
        for visit in visits:
            progress(visit.name)
            table = read_tape_table(visit.tape)
            measured = measure_limb(
                visit.photos,
                read_field(visit.field),
                table.rows,
                limb=limb,
                side=Side.LEFT,
                lying=_of_sample(visit),
                places=table.places,
                hand_paths=visit.hands,
                progress=progress,
            )
            summary = write_model(out / visit.name, measured)
            found[visit.name] = summary.model_dump(mode="json")
            texts.append(summary_text(summary, out / visit.name))
        progress("Comparing, padding, wrapping")
        follow_up, more = _follow_up(out / visits[0].name, out / visits[-1].name, out)
    show.result(as_json, {**found, **follow_up}, lambda console: console.print("\n\n".join([*texts, *more])))


def _of_sample(visit: SampleVisit) -> Lying | None:
    from digitise.workflow.posture.lying import Landmark, Lying

    lies = visit.lying
    return None if lies is None else Lying(lies.posture, Landmark(lies.photo, lies.at, lies.place))


def _follow_up(first: Path, last: Path, out: Path) -> tuple[dict[str, object], list[str]]:
    """Do what follows from two limbs, each into its folder; return figures by folder, and texts."""
    from digitise.output.change.words import change_text
    from digitise.output.model.file import read_model
    from digitise.output.padding.files import pad_text
    from digitise.output.wrap.words import wrap_text
    from digitise.workflow.care import compare_folders, pad_folder, wrap_model

    change = compare_folders(first, last, out / "change")
    pad = pad_folder(last, out / "pad")
    wrap = wrap_model(read_model(last), out / "wrap", None, None)
    forms = {"change": change, "pad": pad, "wrap": wrap}
    texts = [change_text(change, out / "change"), pad_text(pad, out / "pad"), wrap_text(wrap, out / "wrap")]
    return {name: form.model_dump(mode="json") for name, form in forms.items()}, texts


def _axis(text: str) -> Pose:
    import numpy as np

    from digitise.geometry.support import axis_from_points

    match = re.fullmatch(f"{_POINT}:{_POINT}", text)
    if not match:
        raise typer.BadParameter("give two points as x,y,z:x,y,z in mm", param_hint="--axis")
    try:
        numbers = np.array([float(part) for part in match.groups()])
    except ValueError as problem:
        raise typer.BadParameter("give two points as x,y,z:x,y,z in mm", param_hint="--axis") from problem
    try:
        return axis_from_points(numbers[:3], numbers[3:])
    except ShapeError as problem:
        raise typer.BadParameter(str(problem), param_hint="--axis") from problem


def _lying(
    posture: Posture | None, landmark: str | None, axis: str | None, place: CountedFrom | None
) -> Lying | None:
    """Return how a limb lies and from where its heights count, None for one that stands.

    Raises
    ------
    typer.BadParameter
        Options that exclude or need each other, or a landmark that cannot be read.
    """
    from digitise.workflow.posture.lying import Landmark, Lying

    if posture is None:
        for given, name in ((landmark, "--landmark"), (place, "--counted-from")):
            if given is not None:
                raise typer.BadParameter("say how the limb lies with --lying as well", param_hint=name)
        return None
    if axis is not None:
        raise typer.BadParameter("give --axis or --lying, not both", param_hint="--axis")
    match = re.fullmatch(_LANDMARK, landmark or "")
    if not match:
        raise typer.BadParameter(
            "give the photograph's number and its pixels, such as 1,2210,1480",
            param_hint="--landmark",
        )
    number, x, y = match.groups()
    return Lying(posture, Landmark(int(number) - 1, (float(x), float(y)), place))


def _corrections(paths: Sequence[Path], photos: Sequence[Path]) -> dict[str, Correction]:
    """Key each correction by its photograph's sha256."""
    from digitise.capture.outline.correction import read_correction
    from digitise.capture.photo.photograph import read_photo

    if not paths:
        return {}
    digests = {read_photo(photo).sha256 for photo in photos}
    found: dict[str, Correction] = {}
    for path in paths:
        correction = read_correction(path)
        if correction.photo_sha256 is None or correction.photo_sha256 not in digests:
            raise OutlineError(
                "the correction does not belong to any of these photographs.",
                where=str(path),
                do="Give the correction that was drawn on one of them.",
            )
        found[correction.photo_sha256] = correction
    return found
