"""Write a set of sheets into a folder: the PDFs and the field.json that belongs to them, all or nothing."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from digitise.capture.field import write_field
from digitise.capture.instructions import add_instructions
from digitise.capture.printing import add_sheets, new_document
from digitise.capture.sheets import Paper, Sheet, sheet_field, sheet_set
from digitise.errors import OutputError

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
        The folder cannot be made or written to, or holds files that are not ours.
    """
    folder = Path(out)
    sheets = sheet_set(paper)
    try:
        _refuse_strangers(folder)
        parent = folder if folder.is_dir() else folder.absolute().parent
        parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".sheets-", dir=parent) as scratch:
            complete = Path(scratch) / "complete"
            complete.mkdir()
            names = _write_pdfs(complete, paper, sheets)
            write_field(sheet_field(sheets, print_scale), complete / FIELD_FILE)
            _move(complete, folder)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(
            f"The sheets cannot be written ({reason}).", where=str(out), do="Choose another folder."
        ) from error
    pdfs = tuple(folder / name for name in names)
    markers = sum(len(sheet.board.ids) for sheet in sheets)
    return SheetFiles(pdfs, folder / FIELD_FILE, len(sheets), markers)


def _refuse_strangers(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise OutputError("There is a file of this name.", where=str(folder), do="Name a folder.")
    strangers = (
        sorted(item.name for item in folder.iterdir() if item.name not in _OUR_FILES)
        if folder.is_dir()
        else []
    )
    if strangers:
        raise OutputError(
            f"The folder holds other files, such as {strangers[0]}.",
            where=str(folder),
            do="Name a new or empty folder for the sheets.",
        )


def _write_pdfs(folder: Path, paper: Paper, sheets: Sequence[Sheet]) -> tuple[str, ...]:
    if paper != "roll":
        name = f"sheets-{paper}.pdf"
        document = new_document("Sheets for measuring a limb")
        add_instructions(document, paper)
        add_sheets(document, sheets)
        document.output(str(folder / name))
        return (name,)
    document = new_document("Setting up and taking the two photographs")
    add_instructions(document, paper)
    document.output(str(folder / _ROLL_FILES[0]))
    for name, sheet in zip(_ROLL_FILES[1:], sheets, strict=True):
        document = new_document(f"{sheet.title} for measuring a limb")
        add_sheets(document, [sheet])
        document.output(str(folder / name))
    return _ROLL_FILES


def _move(complete: Path, folder: Path) -> None:
    """Put the finished files in place; an existing folder keeps its identity, a shell may stand in it."""
    if not folder.is_dir():
        complete.rename(folder)
        return
    for stale in folder.iterdir():
        # the PDFs of another paper would not match the new field.json
        if stale.name in _OUR_FILES and not (complete / stale.name).exists():
            stale.unlink()
    for item in sorted(complete.iterdir()):
        shutil.move(item, folder / item.name)
