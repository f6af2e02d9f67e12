"""Commands about sheets, photographs and lenses."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from digitise.anatomy import LimbKind, Side
from digitise.cli import show
from digitise.cli.options import FieldOption, LensOption, PhotosArgument, Posture
from digitise.paper import Paper
from digitise.words import shown
from digitise.words.numbers import numbers

if TYPE_CHECKING:
    from rich.console import Console

    from digitise.capture.calibration.markers import Detection
    from digitise.capture.calibration.observations import MarkedPhoto
    from digitise.capture.checks.inspection import Inspection
    from digitise.capture.photo.photograph import Photograph
    from digitise.capture.sheets.field import MarkerField

_SEVERITIES = {"note": ("ok", "green"), "warning": ("warning", "yellow"), "refuse": ("refused", "red")}


def sheets(
    out: Annotated[Path, typer.Option("--out", help="Folder for the files to print; made when missing.")],
    paper: Annotated[
        Paper, typer.Option("--paper", help="Paper of your printer, or roll for a print shop.")
    ] = "a4",
    print_scale: Annotated[
        str, typer.Option("--print-scale", help="MEASURED/PRINTED length of the ruler, such as 98.5/100.")
    ] = "1",
    as_json: show.JsonOption = False,
) -> None:
    """Make the sheets to print, and the field.json that belongs to them."""
    from digitise.capture.sheets.files import save_sheets
    from digitise.capture.sheets.layout import parse_print_scale

    scale = parse_print_scale(print_scale)
    files = save_sheets(out, paper, scale)

    def human(console: Console) -> None:
        for pdf in files.pdfs:
            console.print(f"Print {pdf}")
        console.print("Print at 100 %, then measure the ruler on a sheet: it must be 100 mm.")
        console.print(f"Keep {files.field}: photographs of these sheets need it.")

    data = {
        "pdfs": [str(pdf) for pdf in files.pdfs],
        "field": str(files.field),
        "paper": paper,
        "print_scale": scale,
        "boards": files.boards,
        "markers": files.markers,
    }
    show.result(as_json, data, human)


def check(
    photos: PhotosArgument,
    field: FieldOption,
    limb: Annotated[
        LimbKind | None, typer.Option("--limb", help="Which limb it is; a leg, or the one that lies so.")
    ] = None,
    side: Annotated[Side, typer.Option("--side", help="Left or right, as the person has it.")] = Side.LEFT,
    lying: Annotated[
        Posture | None,
        typer.Option(
            "--lying", help="For a limb that lies over a sheet: how. Its outlines are not looked for."
        ),
    ] = None,
    lens_profile_file: LensOption = None,
    as_json: show.JsonOption = False,
) -> None:
    """Tell whether photographs of a visit can be used, and what to retake."""
    from digitise.capture.calibration.lens import read_lens
    from digitise.capture.sheets.field import read_field
    from digitise.workflow.check import check_visit

    known = read_field(field)
    profile = read_lens(lens_profile_file) if lens_profile_file else None
    seen = [_seen(path, known) for path in show.progress(photos, "Finding markers", len(photos))]
    photos_read, detections = [photo for photo, _ in seen], [found for _, found in seen]
    inspection = check_visit(photos_read, detections, known, profile, limb=limb, side=side, lying=lying)
    refusals = inspection.refusals
    data = {
        "usable": not refusals,
        "photos": [asdict(facts) for facts in inspection.photos],
        "findings": [asdict(finding) for finding in inspection.findings],
    }
    if refusals:
        data["error"] = {"where": refusals[0].photo, "what": refusals[0].text, "do": refusals[0].do}
    show.result(as_json, data, lambda console: _print_inspection(console, inspection))
    if refusals:
        show.refusal("These photographs cannot be used: see the findings.")


def lens(
    photos: PhotosArgument,
    field: FieldOption,
    out: Annotated[Path, typer.Option("--out", help="File for the lens profile, such as lens.json.")],
    as_json: show.JsonOption = False,
) -> None:
    """Measure a phone's lens from eight or more photographs of a sheet, for use with --lens."""
    from digitise.capture.calibration.lens import PARAMETERS, write_lens
    from digitise.capture.calibration.lens_profile import lens_profile
    from digitise.capture.sheets.field import read_field
    from digitise.shape.limb import Z95

    known = read_field(field)
    marked = [_marked(path, known) for path in show.progress(photos, "Finding markers", len(photos))]
    profile = lens_profile(marked, known)
    with show.writing(out):
        write_lens(profile, out)

    focal, sd = float(profile.mean[0]), float(profile.covariance[0, 0]) ** 0.5

    def human(console: Console) -> None:
        console.print(f"Focal length {focal:.1f} ± {Z95 * sd:.1f} px, rms {profile.rms_px:.2f} px.")
        console.print(f"Wrote {out} from {profile.photos} photographs.")

    data = {
        "lens": str(out),
        "photos": profile.photos,
        "rms_px": profile.rms_px,
        "size": list(profile.size),
        "sd_focal_px": sd,
        **dict(zip(PARAMETERS, profile.mean.tolist(), strict=True)),
    }
    show.result(as_json, data, human)


def _seen(path: Path, known: MarkerField) -> tuple[Photograph, tuple[Detection, ...]]:
    from digitise.capture.calibration.markers import find_markers
    from digitise.capture.photo.photograph import read_photo

    photo = read_photo(path)
    return photo, find_markers(photo, known)


def _marked(path: Path, known: MarkerField) -> MarkedPhoto:
    from digitise.capture.calibration.observations import MarkedPhoto

    # the picture itself is let go here: a dozen of them would fill a small machine's memory
    return MarkedPhoto.of(*_seen(path, known))


def _print_inspection(console: Console, inspection: Inspection) -> None:
    from rich.table import Table
    from rich.text import Text

    figures = Table(*map(shown, ("photograph", "markers", "rms", "distance", "focal length")))
    for facts in inspection.photos:
        markers = ", ".join(f"{count} {board}" for board, count in facts.markers.items())
        figures.add_row(
            Text(facts.file),
            Text(markers),
            "" if facts.rms_px is None else numbers(f"{facts.rms_px:.2f} px"),
            "" if facts.distance_mm is None else numbers(f"{facts.distance_mm / 1000:.2f} m"),
            "" if facts.focal_px is None else f"{facts.focal_px:.0f} px",
        )
    console.print(figures)
    for finding in inspection.findings:
        if finding.severity == "note" and finding.photo:
            continue  # as it should be, and the table tells the figures
        where = finding.photo or "all together"
        word, style = _SEVERITIES[finding.severity]
        told = f"{shown(word):<8} {shown(where)}: {shown(finding.text)} {shown(finding.do)}"
        console.print(Text(told.rstrip(), style=style))
    if not inspection.refusals:
        console.print("These photographs can be used.")
