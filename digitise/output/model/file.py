"""model.json and limb.npz, a measured limb in figures and the limb itself, read back."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails, from_json

from digitise.errors import ModelError
from digitise.output.model.agreement import check_same, seal_of
from digitise.output.model.form import FORMAT, ModelForm
from digitise.output.model.limb_file import LARGEST_FILE, end_from_bytes, limb_from_bytes
from digitise.shape.end import EndPart
from digitise.shape.limb import Limb

MODEL_FILE = "model.json"
LIMB_FILE = "limb.npz"
_LARGEST_JSON = 4 * 2**20
_AGAIN = "Measure the visit again from its photographs, or restore the folder from a backup."


@dataclass(frozen=True)
class StoredModel:
    """A limb model read back.

    Attributes
    ----------
    limb
        The limb, the same to the last bit as it was written.
    summary
        The content of model.json.
    end
        Its foot or hand, where it was measured.
    """

    limb: Limb
    summary: ModelForm
    end: EndPart | None = None

    @property
    def foot(self) -> EndPart | None:
        """The foot, where that was measured."""
        return self.end if self.end is not None and self.end.name == "foot" else None


def same_sheets(one: StoredModel, other: StoredModel) -> bool:
    """Tell whether two limbs were measured on the same printed sheets, as far as it is known."""
    first, second = one.summary.field_sha256, other.summary.field_sha256
    return None in (first, second) or first == second


def read_model(folder: str | Path) -> StoredModel:
    """Read a model from the folder it was written into.

    Raises
    ------
    ModelError
        When a file is missing, damaged, of another format, or the two do not belong together.
    """
    folder = Path(folder)
    text = _read_bytes(folder / MODEL_FILE, _LARGEST_JSON)
    return model_from_bytes(text, _read_bytes(folder / LIMB_FILE, LARGEST_FILE), folder)


def model_from_bytes(text: str | bytes, limb: bytes, folder: Path) -> StoredModel:
    """Return the model that the content of its two files holds.

    Parameters
    ----------
    text, limb
        Content of model.json and limb.npz.
    folder
        Where they are from, for messages.

    Raises
    ------
    ModelError
        When one is damaged, of another format, or the two do not belong together.
    """
    summary = summary_from_json(text, str(folder / MODEL_FILE))
    path = str(folder / LIMB_FILE)
    if hashlib.sha256(limb).hexdigest() != summary.limb_sha256:
        raise ModelError(
            "The file was changed or cut short, or belongs to another model.json.", where=path, do=_AGAIN
        )
    found = replace(
        limb_from_bytes(limb, summary.limb, summary.side, path, summary.lying or ""),
        counted_from=summary.counted_from,
    )
    end = end_from_bytes(limb, found, path)
    check_same(found, end, summary, str(folder))
    return StoredModel(found, summary, end)


def _read_bytes(path: Path, most: int) -> bytes:
    try:
        if not path.parent.is_dir():
            raise ModelError(
                "There is no such folder.", where=str(path.parent), do="Name the folder of a measured limb."
            )
        if not path.is_file():
            raise ModelError(
                f"The folder holds no {path.name}.",
                where=str(path.parent),
                do="Name the folder that was written when the limb was measured.",
            )
        with path.open("rb") as stream:
            data = stream.read(most + 1)
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or error
        raise ModelError(
            f"The file cannot be read ({reason}).", where=str(path), do="Check the name and the permissions."
        ) from error
    if len(data) > most:
        raise ModelError(f"The file is too large for a {path.name}.", where=str(path), do=_AGAIN)
    return data


def summary_from_json(data: str | bytes, where: str) -> ModelForm:
    """Return the content of a model.json; ``where`` names it in messages.

    Raises
    ------
    ModelError
        When it is damaged or of another format.
    """
    try:
        content = from_json(data)
        _check_format(content, where)
        summary = ModelForm.model_validate_json(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        raise ModelError(_complaint(first), where=where, do=_AGAIN) from error
    except ValueError as error:
        raise ModelError(f"The file is not JSON ({error}).", where=where, do=_AGAIN) from error
    if summary.seal not in (None, seal_of(content)):
        raise ModelError(
            "The file was changed after it was written: its figures cannot be trusted.",
            where=where,
            do=_AGAIN,
        )
    return summary


def _check_format(content: Any, where: str) -> None:
    name = content.get("format") if isinstance(content, dict) else None
    if name == FORMAT:
        return
    if isinstance(name, str) and name.startswith("limb-model/"):
        version = "".join(c for c in name if c.isprintable())[:40]
        raise ModelError(
            f"The model is of the format {version}; this version reads {FORMAT}.",
            where=where,
            do="Use the version of the program that wrote it, or measure the visit again.",
        )
    raise ModelError("The file is not a limb model.", where=where, do="Name the folder of a measured limb.")


def _complaint(error: ErrorDetails) -> str:
    place = ", ".join(f"number {part + 1}" if isinstance(part, int) else str(part) for part in error["loc"])
    message = error["msg"].removeprefix("Value error, ")
    return f"{place or 'The content'} is wrong: {message[:1].lower()}{message[1:]}."
