"""model.json and limb.npz, a measured limb in figures and the limb itself, read back."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError
from pydantic_core import ErrorDetails, from_json

from digitise.errors import DigitiseError, ModelError
from digitise.output.model.form import FORMAT, ModelForm
from digitise.output.model.limb_file import LARGEST_FILE, limb_from_bytes
from digitise.shape.limb import Limb, girth, volume

MODEL_FILE = "model.json"
LIMB_FILE = "limb.npz"
_LARGEST_JSON = 4 * 2**20
# Figures in model.json are rounded to a thousandth.
_ROUNDED = 0.002
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
    """

    limb: Limb
    summary: ModelForm


def read_model(folder: str | Path) -> StoredModel:
    """Read a model from the folder it was written into.

    Raises
    ------
    ModelError
        When a file is missing, damaged, of another format, or the two do not belong together.
    """
    folder = Path(folder)
    summary = _read_summary(folder / MODEL_FILE)
    path = folder / LIMB_FILE
    data = _read_bytes(path, LARGEST_FILE)
    if hashlib.sha256(data).hexdigest() != summary.limb_sha256:
        raise ModelError(
            "The file was changed or cut short, or belongs to another model.json.", where=str(path), do=_AGAIN
        )
    limb = limb_from_bytes(data, summary.limb, summary.side, str(path))
    _check_same(limb, summary, str(folder))
    return StoredModel(limb, summary)


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


def _read_summary(path: Path) -> ModelForm:
    return summary_from_json(_read_bytes(path, _LARGEST_JSON), str(path))


def summary_from_json(data: str | bytes, where: str) -> ModelForm:
    """Return the content of a model.json; ``where`` names it in messages.

    Raises
    ------
    ModelError
        When it is damaged or of another format.
    """
    try:
        _check_format(from_json(data), where)
        return ModelForm.model_validate_json(data)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        raise ModelError(_complaint(first), where=where, do=_AGAIN) from error
    except ValueError as error:
        raise ModelError(f"The file is not JSON ({error}).", where=where, do=_AGAIN) from error


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


def _check_same(limb: Limb, summary: ModelForm, where: str) -> None:
    """Refuse figures that are not those of the limb."""
    heights = np.array([section.height_mm for section in summary.sections])
    stated = np.array([section.girth_mm for section in summary.sections])
    levels = np.array([summary.from_mm, summary.to_mm, heights[0], heights[-1]])
    own = np.array([limb.from_mm, limb.to_mm, limb.from_mm, limb.to_mm])
    try:
        same = (
            np.allclose(levels, own, rtol=0.0, atol=_ROUNDED)
            and np.allclose(girth(limb, np.clip(heights, *own[:2])).mean, stated, rtol=1e-6, atol=_ROUNDED)
            and np.isclose(
                float(volume(limb, limb.from_mm, limb.to_mm).mean),
                summary.volume_ml,
                rtol=1e-6,
                atol=_ROUNDED,
            )
        )
    except DigitiseError as error:
        raise ModelError(error.what, where=where, do=_AGAIN) from error
    if not same:
        raise ModelError(
            f"The figures in {MODEL_FILE} are not those of the limb in {LIMB_FILE}.", where=where, do=_AGAIN
        )
