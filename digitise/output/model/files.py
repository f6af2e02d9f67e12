"""The folder of a measured limb: all its files at once, or none."""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from pydantic_core import from_json

from digitise.errors import OutputError
from digitise.files import check_folder, new_folder
from digitise.output.forms import now
from digitise.output.model.agreement import seal_of
from digitise.output.model.file import LIMB_FILE, MODEL_FILE
from digitise.output.model.form import ModelForm, SectionForm
from digitise.output.model.limb_file import limb_to_bytes
from digitise.output.model.measured import Measured
from digitise.output.model.meshes import MESH_FILES, write_meshes
from digitise.output.model.pictures import write_pictures
from digitise.output.model.summarise import summarise
from digitise.output.tables import csv_text

SECTIONS_FILE = "sections.csv"
_SECTION_COLUMNS = (
    "height_mm",
    "girth_mm",
    "girth_low_mm",
    "girth_high_mm",
    "area_mm2",
    "area_low_mm2",
    "area_high_mm2",
    "width_mm",
    "depth_mm",
    "centre_x_mm",
    "centre_y_mm",
)
_OUR_FILES = frozenset({MODEL_FILE, LIMB_FILE, SECTIONS_FILE, *MESH_FILES})
_PICTURE = re.compile(r"outline-[1-9][0-9]{0,3}\.jpg")


def write_model(out: str | Path, measured: Measured, created: datetime | None = None) -> ModelForm:
    """Write everything about a measured limb into the folder ``out``, and return what model.json says.

    A folder that holds an earlier model is replaced; any other folder must be new or empty.

    Parameters
    ----------
    out
        The folder.
    measured
        What was measured.
    created
        When, with its time zone; now when not given.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    check_model_folder(out)
    with new_folder(out, is_model_file, "results") as folder:
        summary = write_model_file(folder, measured, created)
        write_sections(folder, summary)
        write_meshes(folder, measured.fit.limb, None if measured.end is None else measured.end.part)
        write_pictures(folder, measured)
    return summary


@dataclass(frozen=True)
class ModelText:
    """A limb model as its two files hold it.

    Attributes
    ----------
    summary
        The content of model.json.
    json
        Its text.
    limb
        The bytes of limb.npz.
    """

    summary: ModelForm
    json: str
    limb: bytes


def model_text(measured: Measured, created: datetime | None = None) -> ModelText:
    """Return what :func:`write_model_file` writes.

    Parameters
    ----------
    measured
        What was measured.
    created
        When, with its time zone; now when not given.
    """
    data = limb_to_bytes(measured.fit.limb, None if measured.end is None else measured.end.part)
    when = now() if created is None else created.astimezone(UTC)
    unsealed = summarise(measured, when, hashlib.sha256(data).hexdigest())
    summary = unsealed.model_copy(update={"seal": seal_of(from_json(unsealed.model_dump_json()))})
    return ModelText(summary, summary.model_dump_json(indent=1) + "\n", data)


def write_model_file(folder: Path, measured: Measured, created: datetime | None = None) -> ModelForm:
    """Write model.json and limb.npz into a folder that exists, and return what model.json says.

    Parameters
    ----------
    folder
        Where to.
    measured
        What was measured.
    created
        When, with its time zone; now when not given.

    Raises
    ------
    OSError
        The files cannot be written.
    """
    model = model_text(measured, created)
    (folder / LIMB_FILE).write_bytes(model.limb)
    (folder / MODEL_FILE).write_text(model.json, encoding="utf-8", newline="")
    return model.summary


def check_model_folder(out: str | Path) -> None:
    """Refuse at once, before photographs are measured, a folder that :func:`write_model` would refuse.

    Raises
    ------
    OutputError
        The folder holds other files.
    """
    _refuse_half_models(Path(out))
    check_folder(out, is_model_file, "results")


def is_model_file(name: str) -> bool:
    """Tell by its name whether a file is one that :func:`write_model` writes."""
    return name in _OUR_FILES or _PICTURE.fullmatch(name) is not None


def _refuse_half_models(out: Path) -> None:
    """Refuse a folder with files that are named as ours, but without the model they would belong to."""
    try:
        holds_files = out.is_dir() and any(is_model_file(item.name) for item in out.iterdir())
        if holds_files and not (out / MODEL_FILE).is_file():
            raise OutputError(
                f"The folder holds files, but no {MODEL_FILE} that would say they are ours to replace.",
                where=str(out),
                do="Name a new or empty folder for the results.",
            )
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise OutputError(
            f"The folder cannot be read ({reason}).", where=str(out), do="Choose another folder."
        ) from error


def write_sections(folder: Path, summary: ModelForm) -> None:
    """Write sections.csv: every section of model.json with the 95 % intervals of girth and area.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    text = csv_text(_SECTION_COLUMNS, map(_section_row, summary.sections))
    (folder / SECTIONS_FILE).write_text(text, encoding="utf-8", newline="")


def _section_row(section: SectionForm) -> tuple[float, ...]:
    return (
        section.height_mm,
        section.girth_mm,
        *section.girth_mm_95,
        section.area_mm2,
        *section.area_mm2_95,
        section.width_mm,
        section.depth_mm,
        *section.centre_mm,
    )
