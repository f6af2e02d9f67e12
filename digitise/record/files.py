"""Files that belong to a visit, read as they are."""

from __future__ import annotations

from pathlib import Path

from digitise.errors import RecordError
from digitise.record.check import LARGEST_MODEL
from digitise.record.values import ModelFiles


def read_model_files(folder: Path) -> ModelFiles:
    """Read the two files of a model.

    Raises
    ------
    RecordError
        One of them is missing or cannot be read.
    """
    return ModelFiles(read_text(folder / "model.json"), _read(folder / "limb.npz"))


def read_text(path: Path) -> str:
    """Read a text file in UTF-8.

    Raises
    ------
    RecordError
        It is missing, too large, or no text.
    """
    try:
        return _read(path).decode("utf-8")
    except UnicodeDecodeError as error:
        raise RecordError("The file is no text.", where=path.name, do="Make it again.") from error


def _read(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_MODEL:
            raise RecordError("The file is too large.", where=path.name, do="Name the right file.")
        return path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or error
        raise RecordError(
            f"The file cannot be opened ({reason}).", where=str(path), do="Check its name and folder."
        ) from error
