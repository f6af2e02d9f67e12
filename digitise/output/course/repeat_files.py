"""The folder of a study of repeats: all its files at once, or none; and the study as text."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from digitise.files import new_folder
from digitise.output.course.repeat_form import RepeatForm
from digitise.output.plain_text import CAUTION_FILE, page, section, write_caution
from digitise.output.tables import Cell, csv_text

REPEAT_FILE, TABLE_FILE = "repeat.json", "repeat.csv"
REPEAT_FILES = frozenset({REPEAT_FILE, TABLE_FILE, CAUTION_FILE})
_TABLE = ("group", "client", "limb", "side", "day", "from_mm", "to_mm", "measurement", "volume_ml")


def write_repeat(out: str | Path, study: RepeatForm) -> None:
    """Write repeat.json and repeat.csv into the folder ``out``; one that holds an earlier study is replaced.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    with new_folder(out, REPEAT_FILES.__contains__, "study of repeats") as folder:
        write_caution(folder, study.caution)
        (folder / REPEAT_FILE).write_text(study.model_dump_json(indent=1) + "\n", encoding="utf-8")
        (folder / TABLE_FILE).write_text(csv_text(_TABLE, _rows(study)), encoding="utf-8", newline="")


def _rows(study: RepeatForm) -> Iterator[tuple[Cell, ...]]:
    for number, group in enumerate(study.groups, start=1):
        for count, volume in enumerate(group.volumes_ml, start=1):
            which = (number, group.client, group.limb, group.side, group.day)
            yield *which, group.from_mm, group.to_mm, count, volume


def repeat_text(study: RepeatForm, out: Path | None) -> str:
    """Return the study, its files (none when ``out`` is None) and the caution as lines of plain text."""
    return page(
        section("Repeatability", study.sentences),
        section(f"Files in {out}", ("repeat.json, repeat.csv: all figures",)) if out else "",
        section("Caution", study.caution),
    )
