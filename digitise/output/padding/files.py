"""The folder of places for padding: all its files at once, or none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from digitise.care.padding.foam_selection import Foam
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.files import new_folder
from digitise.output.figures.care import OnFoot, places_map, places_views
from digitise.output.figures.style import png
from digitise.output.model.file import StoredModel
from digitise.output.padding.foam_sheet import foam_pdf, foam_svg
from digitise.output.padding.form import AgainstForm, FootPlaceForm, PadForm, PlaceForm, pad_form
from digitise.output.plain_text import CAUTION_FILE, page, section, write_caution
from digitise.output.tables import Cell, csv_text

PAD_FILE, TABLE_FILE, FOAM_FILE = "pad.json", "places.csv", "foam.pdf"
VIEWS_FILE, MAP_FILE = "places.png", "places-map.png"
_OUR_FILES = frozenset({PAD_FILE, TABLE_FILE, FOAM_FILE, VIEWS_FILE, MAP_FILE, CAUTION_FILE})
_SVG = re.compile(r"foam-[1-9][0-9]{0,3}\.svg")
_MOST = {
    "bulge": "Highest",
    "hollow": "Deepest",
    "ridge": "Sharpest",
    "crease": "Deepest",
    "inverted taper": "Narrowest",
    "step": "Steepest",
}
_TABLE = (
    "number",
    "kind",
    "place",
    "from_mm",
    "to_mm",
    "area_cm2",
    "peak_mm",
    "peak_means",
    "volume_ml",
    "confidence",
    "advice",
    "why",
)


@dataclass(frozen=True)
class Padding:
    """A limb's places and the foam for them.

    Attributes
    ----------
    model
        The limb.
    regions
        Its places, in the order of their numbers from 1.
    foam
        The pieces.
    against
        What the limb was held against; None for the limb by itself.
    safety, more
        What is open about the client, the most urgent first; how many places are not listed.
    paper, code
        ``a4`` or ``letter``; the client's code to print on the foam, or empty.
    foot_places
        Places on its foot; their numbers follow.
    """

    model: StoredModel
    regions: Sequence[Region]
    foam: Foam
    against: AgainstForm | None = None
    paper: str = "a4"
    code: str = ""
    safety: tuple[str, ...] = ()
    more: int = 0
    foot_places: Sequence[FootPlace] = ()


def is_pad_file(name: str) -> bool:
    """Tell by its name whether a file is one that :func:`write_padding` writes."""
    return name in _OUR_FILES or _SVG.fullmatch(name) is not None


def write_padding(out: str | Path, padding: Padding) -> PadForm:
    """Write places and foam into the folder ``out``, and return what pad.json says.

    A folder that holds earlier ones is replaced; any other folder must be new or empty.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    PlanError
        The paper is unknown.
    """
    limb, foam = padding.model.limb, padding.foam
    summary = pad_form(
        padding.model.summary,
        padding.regions,
        foam.of_place,
        padding.against,
        safety=padding.safety,
        more=padding.more,
        foot=padding.foot_places,
    )
    with new_folder(out, is_pad_file, "places for padding") as folder:
        write_caution(folder, (*summary.safety, *summary.caution, *summary.notes))
        (folder / PAD_FILE).write_text(summary.model_dump_json(indent=1) + "\n", encoding="utf-8")
        (folder / TABLE_FILE).write_text(csv_text(_TABLE, _rows(summary)), encoding="utf-8", newline="")
        seen = OnFoot(padding.model.foot, padding.foot_places)
        views = png(lambda: places_views(limb, padding.regions, on_foot=seen))
        (folder / VIEWS_FILE).write_bytes(views)
        (folder / MAP_FILE).write_bytes(png(lambda: places_map(limb, padding.regions)))
        if foam.pieces:
            day = f"{padding.model.summary.created:%Y-%m-%d}"
            pdf = foam_pdf(
                foam.pieces,
                limb.kind,
                paper=padding.paper,
                code=padding.code,
                day=day,
                overview=views,
                safety=padding.safety,
                lying=limb.lying,
            )
            (folder / FOAM_FILE).write_bytes(pdf)
        for number, piece in enumerate(foam.pieces, start=1):
            svg = foam_svg(piece, limb.kind, code=padding.code, lying=limb.lying)
            (folder / f"foam-{number}.svg").write_text(svg, encoding="utf-8")
    return summary


def _rows(summary: PadForm) -> Iterator[tuple[Cell, ...]]:
    for place in summary.places:
        yield tuple(getattr(place, name) for name in _TABLE)
    for foot in summary.foot_places:
        yield tuple(getattr(foot, name, None) for name in _TABLE)


def pad_text(summary: PadForm, folder: str | Path) -> str:
    """Return places, files and the caution as lines of plain text."""
    title = f"{summary.side.capitalize()} {summary.limb}, places that may need padding"
    if summary.against is not None:
        title += f", also against {summary.against.words}"
    every: tuple[PlaceForm | FootPlaceForm, ...] = (*summary.places, *summary.foot_places)
    places = [_line(place) for place in every]
    pieces = sum(len(place.foam) for place in every)
    files = ["places.png, places-map.png: where they are", "pad.json, places.csv: all figures"]
    if pieces:
        files.insert(1, f"foam.pdf: {pieces} piece(s) to print at full size and cut; foam-N.svg for a cutter")
    if summary.more_places:
        places.append(f"{summary.more_places} more, less certain: list them with --all.")
    return page(
        section("Before any wrap", summary.safety),
        section(title, places or ["None stands out beyond its threshold and its uncertainty."]),
        section("How far to trust it", summary.notes),
        section(f"Files in {folder}", files),
        section("Caution", summary.caution),
    )


def _line(place: PlaceForm | FootPlaceForm) -> str:
    digits = 1 if place.kind == "crease" else 0
    low, high = place.peak_mm_95
    volume = "" if place.volume_ml is None else f", {place.volume_ml:.0f} mL with its slopes"
    foam = f" Foam {', '.join(map(str, place.foam))}." if place.foam else ""
    most = "" if isinstance(place, FootPlaceForm) else f" {_MOST[place.kind]}: {place.peak_place}."
    if isinstance(place, FootPlaceForm) and place.foam_note:
        foam = f" {place.foam_note}"
    return (
        f"{place.number}. {place.kind.capitalize()}, {place.place} ({place.confidence}), "
        f"{place.area_cm2:.0f} cm²{volume}. {place.why} "
        f"95 % interval {low:.{digits}f} to {high:.{digits}f} mm.{most} "
        f"{place.effect} Feel: {' '.join((*place.feel, _by_feel(place)))}{foam}"
    )


def _by_feel(place: PlaceForm | FootPlaceForm) -> str:
    told = "; ".join(f"{felt}: {do}" for felt, do in place.by_feel)
    return f"{told[0].upper()}{told[1:]}."
