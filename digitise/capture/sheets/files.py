"""Write a set of sheets into a folder: the PDFs and the field.json that belongs to them, all or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

from digitise.capture.sheets.field import field_to_json, write_field
from digitise.capture.sheets.instructions import add_instructions
from digitise.capture.sheets.instructions_both import add_both_instructions
from digitise.capture.sheets.instructions_lying import add_lying_instructions
from digitise.capture.sheets.instructions_upright import add_upright_instructions
from digitise.capture.sheets.layout import Sheet, sheet_field, sheet_set
from digitise.capture.sheets.printing import add_sheets
from digitise.errors import OutputError
from digitise.files import new_folder
from digitise.paper import Paper
from digitise.pdf import true_size_document

FIELD_FILE = "field.json"
_ROLL_FILES = ("instructions.pdf", "mat.pdf", "backdrop-a.pdf", "backdrop-b.pdf")
_OUR_FILES = frozenset({FIELD_FILE, "sheets-a4.pdf", "sheets-letter.pdf", *_ROLL_FILES})


@dataclass(frozen=True)
class SheetFiles:
    """What was written.

    Attributes
    ----------
    pdfs
        The files to print, instructions first.
    field
        The field.json that belongs to them.
    boards, markers
        How many there are on the sheets.
    """

    pdfs: tuple[Path, ...]
    field: Path
    boards: int
    markers: int


def save_sheets(out: str | Path, paper: Paper, print_scale: float = 1.0) -> SheetFiles:
    """Write the set for ``paper`` into the folder ``out``; the PDFs stay true to size at any print scale.

    A4 and Letter come as one file to print in one go, a roll as one file per sheet as print shops want it.

    Raises
    ------
    OutputError
        The folder cannot be made or written to, holds files that are not ours, or a field.json that was
        corrected for a print: it belongs to sheets that are in use.
    """
    folder = Path(out)
    sheets = sheet_set(paper)
    _keep_corrected(folder / FIELD_FILE, field_to_json(sheet_field(sheets, print_scale)))
    with new_folder(folder, _OUR_FILES.__contains__, "sheets") as complete:
        names = _write_pdfs(complete, paper, sheets)
        write_field(sheet_field(sheets, print_scale), complete / FIELD_FILE)
    pdfs = tuple(folder / name for name in names)
    markers = sum(len(sheet.board.ids) for sheet in sheets)
    return SheetFiles(pdfs, folder / FIELD_FILE, len(sheets), markers)


def _keep_corrected(field: Path, new: str) -> None:
    """Refuse to replace a field that no set of sheets printed at 100 % makes again, but by the same."""
    try:
        old = field.read_text(encoding="utf-8") if field.is_file() else new
    except (OSError, UnicodeDecodeError):
        return  # the folder itself is refused then
    if old == new or old in (field_to_json(sheet_field(sheet_set(paper))) for paper in get_args(Paper)):
        return
    raise OutputError(
        "This field.json belongs to sheets that were printed at another size, or is of another version: "
        "visits with those sheets need it.",
        where=str(field),
        do="Name a new folder for the new set.",
    )


def _write_pdfs(folder: Path, paper: Paper, sheets: Sequence[Sheet]) -> tuple[str, ...]:
    if paper != "roll":
        name = f"sheets-{paper}.pdf"
        document = true_size_document("Sheets for measuring a limb")
        add_instructions(document, paper)
        add_both_instructions(document, paper)
        add_lying_instructions(document, paper)
        add_upright_instructions(document, paper)
        add_sheets(document, sheets)
        document.output(str(folder / name))
        return (name,)
    document = true_size_document("Setting up and taking the photographs")
    add_instructions(document, paper)
    add_both_instructions(document, paper)
    add_lying_instructions(document, paper)
    add_upright_instructions(document, paper)
    document.output(str(folder / _ROLL_FILES[0]))
    for name, sheet in zip(_ROLL_FILES[1:], sheets, strict=True):
        document = true_size_document(f"{sheet.title} for measuring a limb")
        add_sheets(document, [sheet])
        document.output(str(folder / name))
    return _ROLL_FILES
