"""The folder of a wrap: all its files at once, or none; a plan that a person edited is never lost."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from digitise.care.wrap.garment import GirthList
from digitise.care.wrap.plan import Plan, plan_to_toml, read_plan
from digitise.care.wrap.sheet import WrapSheet
from digitise.errors import OutputError, PlanError
from digitise.files import new_folder
from digitise.output.figures.care import pressure_profile
from digitise.output.figures.style import png
from digitise.output.figures.wrap import wrap_layers
from digitise.output.model.file import StoredModel
from digitise.output.plain_text import CAUTION_FILE, write_caution
from digitise.output.tables import Cell, csv_text
from digitise.output.wrap.form import GarmentForm, WrapForm, wrap_form
from digitise.output.wrap.home_card import home_card

WRAP_FILE, PLAN_FILE = "wrap.json", "plan.toml"
HOME_FILE = "home-card.pdf"
LAYERS_FILE, PRESSURE_FILE, GARMENT_FILE, PICTURE_FILE, TURNS_FILE = (
    "wrap.csv",
    "pressure.csv",
    "garment.csv",
    "pressure.png",
    "layers.png",
)
WRAP_FILES = frozenset(
    {
        WRAP_FILE,
        PLAN_FILE,
        LAYERS_FILE,
        PRESSURE_FILE,
        GARMENT_FILE,
        PICTURE_FILE,
        TURNS_FILE,
        CAUTION_FILE,
        HOME_FILE,
    }
)
_LAYERS = ("layer", "name", "width_mm", "from_mm", "to_mm", "turns", "stretched_mm", "rest_mm", "rolls")
_PRESSURE = ("height_mm", "layers", "relative_pressure", "estimate_mmhg")
_GARMENT = (
    "letter",
    "place",
    "length_name",
    "height_mm",
    "height_low_mm",
    "height_high_mm",
    "girth_mm",
    "girth_low_mm",
    "girth_high_mm",
    "set_by_hand",
    "source",
    "note",
)


def write_wrap(
    out: str | Path,
    model: StoredModel,
    sheet: WrapSheet,
    garment: GirthList | None = None,
    *,
    suggested: bool,
    safety: tuple[str, ...] = (),
) -> WrapForm:
    """Write a wrap into the folder ``out``, and return what wrap.json says.

    A folder that holds an earlier wrap is replaced, but not one whose plan.toml was edited since and is not
    this plan; any other folder must be new or empty.

    Parameters
    ----------
    out
        The folder.
    model
        The limb.
    sheet
        The wrap.
    garment
        The girth list, when it was asked for.
    suggested
        Whether the plan is our suggestion.
    safety
        What is open about the client, the most urgent first.

    Raises
    ------
    OutputError
        The folder cannot be written to, or holds an edited plan or other files; it is left as it was.
    """
    _refuse_edited(Path(out), sheet.plan)
    summary = wrap_form(model.summary, sheet, garment, suggested=suggested, safety=safety)
    with new_folder(out, WRAP_FILES.__contains__, "wrap") as folder:
        write_caution(folder, (*summary.safety, *summary.caution, *summary.notes))
        (folder / WRAP_FILE).write_text(summary.model_dump_json(indent=1) + "\n", encoding="utf-8")
        (folder / PLAN_FILE).write_text(plan_to_toml(sheet.plan), encoding="utf-8")
        _write_table(folder / LAYERS_FILE, _LAYERS, _layer_rows(summary))
        _write_table(folder / PRESSURE_FILE, _PRESSURE, _pressure_rows(summary))
        if summary.garment is not None:
            table = garment_table(summary.garment)
            (folder / GARMENT_FILE).write_text(table, encoding="utf-8", newline="")
        (folder / PICTURE_FILE).write_bytes(png(lambda: pressure_profile(sheet)))
        layers = png(lambda: wrap_layers(model.limb, model.end, sheet))
        (folder / TURNS_FILE).write_bytes(layers)
        card = home_card(sheet.steps, model.summary.limb, picture=layers)
        (folder / HOME_FILE).write_bytes(card)
    return summary


def _refuse_edited(out: Path, plan: Plan) -> None:
    """Refuse to replace a plan.toml that is neither this plan nor the one that wrap.json tells of."""
    try:
        there = (out / PLAN_FILE).is_file()
    except (OSError, ValueError):  # new_folder tells what is wrong with such a name
        return
    if not there:
        return
    try:
        old = read_plan(out / PLAN_FILE)
        unedited = old == plan or old == _recorded(out / WRAP_FILE)
    except PlanError:
        unedited = False
    if not unedited:
        raise OutputError(
            "The folder holds a plan that was edited.",
            where=str(out / PLAN_FILE),
            do="Give it with --plan, or name a new folder.",
        )


def _recorded(path: Path) -> Plan | None:
    try:
        return WrapForm.model_validate_json(path.read_bytes()).plan
    except (OSError, ValidationError):
        return None


def _write_table(path: Path, columns: tuple[str, ...], rows: Iterator[tuple[Cell, ...]]) -> None:
    path.write_text(csv_text(columns, rows), encoding="utf-8", newline="")


def _layer_rows(summary: WrapForm) -> Iterator[tuple[Cell, ...]]:
    for number, need in enumerate(summary.needs, start=1):
        yield number, *(getattr(need, name) for name in _LAYERS[1:])


def _pressure_rows(summary: WrapForm) -> Iterator[tuple[Cell, ...]]:
    for height in summary.profile:
        yield tuple(getattr(height, name) for name in _PRESSURE)


def garment_table(garment: GarmentForm) -> str:
    """Return the text of garment.csv: a row for each point, from the foot or hand upward, lengths in mm."""
    return csv_text(_GARMENT, _garment_rows(garment))


def _garment_rows(garment: GarmentForm) -> Iterator[tuple[Cell, ...]]:
    for point in garment.points:
        heights, girths = (point.height_mm, *point.height_mm_95), (point.girth_mm, *point.girth_mm_95)
        by_hand = "yes" if point.set_by_hand else "no"
        head = (point.letter, point.place, point.length_name)
        yield *head, *heights, *girths, by_hand, point.source, point.note
    for taped in garment.taped:
        yield None, taped.place, None, None, None, None, taped.girth_mm, None, None, None, "tape", taped.note
