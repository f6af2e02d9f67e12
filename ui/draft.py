"""A visit while it is being entered: kept on the disk, so that a reload loses nothing.

Each draft is a folder that only its owner can enter.  Its photographs are stripped of place, time and serial
numbers when they come in; nothing else of them is kept.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import platformdirs
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from digitise.capture.photo.photograph import remove_metadata_from
from digitise.record.opening import make_private_folder

KEPT_DAYS = 14
_TOKEN = re.compile(r"[A-Za-z0-9_-]{16,40}")
_PHOTO = re.compile(r"photo-([1-9][0-9]?)\.jpg")
_INPUTS, _FIELD, _LENS = "draft.json", "field.json", "lens.json"
_DAY_S = 86_400.0

Axis = tuple[float | None, float | None, float | None, float | None, float | None, float | None]


class Inputs(BaseModel):
    """What was typed and chosen; lengths as typed, in the unit that goes with them.

    ``axis`` is x, y, z of two points on the limb's axis, mm in the mat's frame, the lower first.
    ``changes`` is the number of the stored visit that is being changed, ``seen`` its state when it was
    opened, ``saved`` the number it was saved as.
    """

    model_config = ConfigDict(frozen=True, extra="ignore")

    client: str = ""
    limb: Literal["leg", "arm"] | None = None
    side: Literal["left", "right"] | None = None
    clearance: Literal["yes", "no", "not-asked"] | None = None
    clearance_by: str = ""
    flags: tuple[str, ...] | None = None
    posture: Literal["", "standing", "sitting", "lying"] = ""
    measured_by: str = ""
    note: str = ""
    sheets: Literal["a4", "letter", "roll", "own"] = "a4"
    print_scale: str = "1"
    unit: Literal["cm", "mm"] = "cm"
    rows: tuple[tuple[float | None, float | None], ...] = Field(default=(), max_length=60)
    axis: Axis = (None,) * 6
    changes: int | None = None
    seen: str | None = None
    saved: int | None = None

    @property
    def has_axis(self) -> bool:
        """Whether any number of an axis is typed."""
        return any(number is not None for number in self.axis)


@dataclass(frozen=True)
class Draft:
    """The folder of one draft."""

    folder: Path

    @property
    def inputs(self) -> Inputs:
        """What was typed; empty for a new draft or one whose file is damaged."""
        try:
            return Inputs.model_validate_json((self.folder / _INPUTS).read_bytes())
        except (OSError, ValidationError):
            return Inputs()

    @property
    def photos(self) -> tuple[Path, ...]:
        """Its photographs by number."""
        found = self.folder.glob("photo-*.jpg") if self.folder.is_dir() else ()
        return tuple(sorted((p for p in found if _PHOTO.fullmatch(p.name)), key=_number))

    @property
    def field_json(self) -> str | None:
        """The text of a field.json of its own; None when its sheets are ours."""
        try:
            return (self.folder / _FIELD).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    @property
    def lens_json(self) -> str | None:
        """The text of the lens profile; None without one."""
        try:
            return (self.folder / _LENS).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError):
            return None

    def correction(self, photo: Path) -> str | None:
        """Return the drawn correction of a photograph as JSON text."""
        try:
            return _correction_file(photo).read_text(encoding="utf-8")
        except OSError:
            return None

    def write(self, inputs: Inputs) -> None:
        """Keep what was typed."""
        self._write(_INPUTS, inputs.model_dump_json().encode())

    def write_field(self, text: str) -> None:
        """Keep a field.json."""
        self._write(_FIELD, text.encode())

    def write_lens(self, text: str | None) -> None:
        """Keep a lens profile, or drop it when None."""
        if text is None:
            (self.folder / _LENS).unlink(missing_ok=True)
        else:
            self._write(_LENS, text.encode())

    def write_correction(self, photo: Path, text: str | None) -> None:
        """Keep a drawn correction, or drop it when None."""
        if text is None:
            _correction_file(photo).unlink(missing_ok=True)
        else:
            self._write(_correction_file(photo).name, text.encode())

    def add_photo(self, data: bytes, name: str) -> Path:
        """Strip a photograph and keep it; nothing of it is on the disk before.

        Raises
        ------
        PhotoError
            It cannot be read.
        """
        stripped = remove_metadata_from(data, Path(name).name or "photograph")
        number = max((_number(photo) for photo in self.photos), default=0) + 1
        self._write(f"photo-{number}.jpg", stripped)
        return self.folder / f"photo-{number}.jpg"

    def remove_photo(self, photo: Path) -> None:
        """Remove a photograph and its correction."""
        _correction_file(photo).unlink(missing_ok=True)
        photo.unlink(missing_ok=True)

    def remove(self) -> None:
        """Remove the draft."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _write(self, name: str, data: bytes) -> None:
        make_private_folder(self.folder)
        scratch = self.folder / f".{name}-{secrets.token_hex(4)}"
        with open(os.open(scratch, os.O_CREAT | os.O_WRONLY | os.O_EXCL, 0o600), "wb") as file:
            file.write(data)
        scratch.replace(self.folder / name)


def drafts_folder() -> Path:
    """Return where drafts are: beside the default records."""
    return platformdirs.user_data_path("digitise", appauthor=False) / "drafts"


def new_token() -> str:
    """Return a name for a draft that nobody can guess."""
    return secrets.token_urlsafe(18)


def draft_of(token: str) -> Draft | None:
    """Return the draft of a name, also one that nothing was written to yet; None when it is no such name."""
    return Draft(drafts_folder() / token) if _TOKEN.fullmatch(token) else None


def all_drafts() -> Iterator[Draft]:
    """Yield the drafts that something was written to, last used first."""
    folder = drafts_folder()
    found = [path for path in folder.iterdir() if (path / _INPUTS).is_file()] if folder.is_dir() else []
    for path in sorted(found, key=_used, reverse=True):
        yield Draft(path)


def remove_old() -> None:
    """Remove saved drafts after a day and others, also unfinished folders, when untouched for 14 days."""
    folder = drafts_folder()
    for path in list(folder.iterdir()) if folder.is_dir() else []:
        draft = Draft(path)
        days = 1 if draft.inputs.saved is not None else KEPT_DAYS
        if time.time() - _used(path) > days * _DAY_S:
            draft.remove()


def forget_client(code: str) -> int:
    """Remove all drafts of a client and return how many there were."""
    theirs = [draft for draft in all_drafts() if draft.inputs.client.strip().upper() == code.strip().upper()]
    for draft in theirs:
        draft.remove()
    return len(theirs)


def _used(folder: Path) -> float:
    inputs = folder / _INPUTS
    return (inputs if inputs.is_file() else folder).stat().st_mtime


def _number(photo: Path) -> int:
    match = _PHOTO.fullmatch(photo.name)
    return int(match.group(1)) if match else 0


def _correction_file(photo: Path) -> Path:
    return photo.with_name(photo.name.replace("photo-", "correction-").replace(".jpg", ".json"))
