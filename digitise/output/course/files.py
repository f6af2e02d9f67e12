"""The folder of a course: all its files at once, or none; and the course as text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from digitise.care.course.course import Course, CoursePoint
from digitise.files import new_folder
from digitise.output.course.form import COURSE_FILE, CourseForm
from digitise.output.figures.course import course_figure
from digitise.output.figures.style import png
from digitise.output.forms import rounded
from digitise.output.plain_text import CAUTION_FILE, page, section, write_caution
from digitise.output.tables import Cell, csv_text
from digitise.shape.limb import Estimate

TABLE_FILE, PICTURE_FILE = "course.csv", "course.png"
COURSE_FILES = frozenset({COURSE_FILE, TABLE_FILE, PICTURE_FILE, CAUTION_FILE})
_FIGURES = (
    "volume_ml",
    "other_limb_ml",
    "since_first_ml",
    "since_last_ml",
    "limb_change_percent",
    "excess_ml",
    "excess_percent",
    "reduction_now_percent",
    "reduction_baseline_percent",
)
_TABLE = (
    "taken",
    "from_mm",
    "to_mm",
    *(f"{name}{end}" for name in _FIGURES for end in ("", "_low", "_high")),
    "measured_by",
    "posture",
)


def write_course(out: str | Path, course: Course, summary: CourseForm) -> None:
    """Write course.json, course.csv and course.png into the folder ``out``.

    A folder that holds an earlier course is replaced; any other folder must be new or empty.

    Parameters
    ----------
    out
        The folder.
    course
        The course.
    summary
        What course.json holds.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    with new_folder(out, COURSE_FILES.__contains__, "course") as folder:
        write_caution(folder, (*summary.safety, *summary.caution))
        (folder / COURSE_FILE).write_text(summary.model_dump_json(indent=1) + "\n", encoding="utf-8")
        table = csv_text(_TABLE, map(_row, course.points))
        (folder / TABLE_FILE).write_text(table, encoding="utf-8", newline="")
        (folder / PICTURE_FILE).write_bytes(png(lambda: course_figure(course)))


def _row(point: CoursePoint) -> tuple[Cell, ...]:
    visit, excess, reduction = point.visit, point.excess, point.reduction
    figures = (
        visit.volume,
        visit.reference,
        point.since_first,
        point.since_last,
        point.limb_change_percent,
        excess.excess_ml if excess else None,
        excess.percent if excess else None,
        reduction.current_reference if reduction else None,
        reduction.baseline_reference if reduction else None,
    )
    cells = [cell for figure in figures for cell in _cells(figure)]
    return (visit.taken.isoformat(), visit.from_mm, visit.to_mm, *cells, visit.measured_by, visit.posture)


def _cells(figure: Estimate[float] | None) -> Iterator[Cell]:
    if figure is None:
        yield from (None, None, None)
    else:
        yield from map(rounded, (figure.mean, *figure.interval_95))


def course_text(course: Course, summary: CourseForm, out: Path | None) -> str:
    """Return visits, sentences, remarks, files (none when ``out`` is None) and the caution as plain text."""
    files = ("course.png: volume and excess over time", "course.json, course.csv: all figures")
    title = f"{summary.side.capitalize()} {summary.limb}, course over {len(course.points)} visit(s)"
    return page(
        section("Before any wrap", summary.safety),
        section(title, map(_line, course.points)),
        section("What it says", summary.sentences),
        section("Warnings", summary.remarks),
        section("Not included", summary.not_included),
        section(f"Files in {out}", files) if out else "",
        section("Caution", summary.caution),
    )


def _line(point: CoursePoint) -> str:
    visit = point.visit
    low, high = visit.volume.interval_95
    text = f"{visit.taken:%Y-%m-%d %H:%M}: {visit.volume.mean:.0f} mL ({low:.0f} to {high:.0f})"
    if point.since_first is not None:
        low, high = point.since_first.interval_95
        text += f", since the first visit {point.since_first.mean:+.0f} mL ({low:+.0f} to {high:+.0f})"
        text += "" if point.since_first.clear else ", no clear change"
    if point.excess is not None:
        text += f", over the other limb {point.excess.excess_ml.mean:+.0f} mL"
    return text
