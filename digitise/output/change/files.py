"""The folder of a comparison: all its files at once, or none."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np

from digitise.care.change.compare import Change
from digitise.care.surface.place_words import direction_words
from digitise.files import new_folder
from digitise.output.change.form import ChangeForm
from digitise.output.change.meshes import CHANGE_MESHES, write_change_meshes
from digitise.output.change.overlays import Overlays, draw_overlay, find_overlays
from digitise.output.change.summarise import Compared, change_form, overlay_name
from digitise.output.change.words import sides
from digitise.output.figures.limb import Named, change_chart, section_overlay
from digitise.output.figures.style import png
from digitise.output.figures.views import change_views
from digitise.output.plain_text import CAUTION_FILE, write_caution
from digitise.output.tables import Cell, csv_text

CHANGE_FILE, TABLE_FILE, CHART_FILE = "change.json", "change.csv", "chart.csv"
VIEWS_FILE, SECTIONS_FILE, MAP_FILE = "change-views.png", "change-sections.png", "change-map.png"
CHANGE_FILES = frozenset(
    {CAUTION_FILE, CHANGE_FILE, TABLE_FILE, CHART_FILE, VIEWS_FILE, SECTIONS_FILE, MAP_FILE, *CHANGE_MESHES}
)
_OVERLAY = re.compile(r"overlay-camera-[1-9][0-9]{0,3}\.png")
_TABLE = (
    "height_mm",
    "girth_change_mm",
    "girth_change_low_mm",
    "girth_change_high_mm",
    "verdict",
    "area_change_mm2",
    "area_change_low_mm2",
    "area_change_high_mm2",
)
_CHART = ("height_mm", "direction_deg", "direction", "change_mm", "change_low_mm", "change_high_mm", "clear")
_STEP_MM = 10.0


def write_change(out: str | Path, compared: Compared, created: datetime | None = None) -> ChangeForm:
    """Write everything about a comparison into the folder ``out``, and return what change.json says.

    A folder that holds an earlier comparison is replaced; any other folder must be new or empty.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    change = compared.change
    overlays = find_overlays(change, compared.first, compared.second)
    summary = change_form(compared, created, overlays)
    with new_folder(out, is_change_file, "comparison") as folder:
        write_caution(folder, summary.caution)
        (folder / CHANGE_FILE).write_text(summary.model_dump_json(indent=1) + "\n", encoding="utf-8")
        _write_table(folder / TABLE_FILE, _TABLE, _level_rows(summary))
        _write_table(folder / CHART_FILE, _CHART, _chart_rows(change))
        write_change_meshes(folder, change)
        (folder / VIEWS_FILE).write_bytes(png(lambda: change_views(change)))
        (folder / MAP_FILE).write_bytes(png(lambda: change_chart(change)))
        (folder / SECTIONS_FILE).write_bytes(
            png(lambda: section_overlay(_named(change), section_heights(change)))
        )
        _write_overlays(folder, overlays)
    return summary


def is_change_file(name: str) -> bool:
    """Tell by its name whether a file is one that :func:`write_change` writes."""
    return name in CHANGE_FILES or _OVERLAY.fullmatch(name) is not None


def _write_overlays(folder: Path, overlays: Overlays) -> None:
    for number, (stand, part) in enumerate(overlays.views, start=1):
        picture = png(partial(draw_overlay, overlays.both, stand, part))
        (folder / overlay_name(number)).write_bytes(picture)


def section_heights(change: Change) -> tuple[float, ...]:
    """Return the middle of each named segment, to 10 mm."""
    return tuple(
        float(np.clip(_STEP_MM * round((low + high) / 2 / _STEP_MM), low, high))
        for _, low, high in (part.segment for part in change.parts)
    )


def _named(change: Change) -> tuple[Named, Named]:
    if change.mirrored:
        first, second = sides(change)
        return Named(f"{second}, mirrored", change.second), Named(first, change.first)
    return Named("second visit", change.second), Named("first visit", change.first)


def _write_table(path: Path, columns: tuple[str, ...], rows: Iterator[tuple[Cell, ...]]) -> None:
    path.write_text(csv_text(columns, rows), encoding="utf-8", newline="")


def _level_rows(summary: ChangeForm) -> Iterator[tuple[Cell, ...]]:
    for row in summary.levels:
        girth = (row.girth_change_mm, *row.girth_change_mm_95, row.verdict)
        yield row.height_mm, *girth, row.area_change_mm2, *row.area_change_mm2_95


def _chart_rows(change: Change) -> Iterator[tuple[Cell, ...]]:
    """Yield height by height all directions, degrees from x towards y of the first limb's axis frame."""
    chart = change.chart
    low, high = chart.change_mm.interval_95
    clear = np.where(chart.clear, "yes", "no")
    degrees = np.degrees(chart.theta)
    words = [direction_words(change.first, float(theta)) for theta in chart.theta]
    for i, height in enumerate(chart.z):
        for j, word in enumerate(words):
            values = (chart.change_mm.mean[i, j], low[i, j], high[i, j])
            change_mm = (round(float(value), 2) + 0.0 for value in values)
            yield round(float(height), 2), round(float(degrees[j]), 2), word, *change_mm, str(clear[i, j])
