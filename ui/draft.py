"""A visit while it is being entered: kept on the disk, so that a reload loses nothing.

Each draft is a folder that only its owner can enter.  Its photographs are stripped of place, time and serial
numbers when they come in; nothing else of them is kept.
"""

from __future__ import annotations

import os
import re
import secrets
import shutil
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

import platformdirs
from pydantic import ValidationError

from digitise.capture.photo.photograph import remove_metadata_from
from digitise.errors import RecordError
from digitise.record.opening import make_private_folder
from ui.inputs import Inputs, merged

KEPT_DAYS = 14
MOST_PHOTOS = 12
_TOKEN = re.compile(r"[A-Za-z0-9_-]{16,40}")
_PHOTO = re.compile(r"photo-([1-9][0-9]?)\.jpg")
_INPUTS, _FIELD, _LENS = "draft.json", "field.json", "lens.json"
_DAMAGED = "draft-damaged.json"
_DAY_S = 86_400.0
_ONE_WRITER = threading.Lock()


@dataclass(frozen=True)
class Draft:
    """The folder of one draft."""

    folder: Path

    def read(self) -> Inputs:
        """Return what was typed; empty for a new draft.

        Raises
        ------
        RecordError
            The file is damaged; it is set aside, so that the next reading begins anew.
        """
        path = self.folder / _INPUTS
        try:
            return Inputs.model_validate_json(path.read_bytes())
        except FileNotFoundError:
            return Inputs()
        except (OSError, ValidationError) as error:
            with suppress(OSError):
                path.replace(self.folder / _DAMAGED)
            raise RecordError(
                "What was typed in this visit cannot be read: its file is damaged.",
                do="Its photographs are kept. Type the rest again.",
            ) from error

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

    def corrections(self) -> dict[str, str]:
        """Return all drawn corrections as JSON texts, by the photographs' names."""
        return {path.name: words for path in self.photos if (words := self.correction(path))}

    def write(self, inputs: Inputs) -> None:
        """Keep what was typed."""
        self._write(_INPUTS, inputs.model_dump_json().encode())

    def keep(self, mine: Inputs, before: Inputs) -> None:
        """Keep what was typed in one tab without losing what another typed meanwhile.

        Parameters
        ----------
        mine
            What this tab holds.
        before
            What it held when it last kept or read anything.

        Raises
        ------
        RecordError
            The draft's file is damaged.
        """
        with _ONE_WRITER:
            there = self.read()
            both = mine if there == before else merged(before, mine, there).inputs
            if both != there:
                self.write(both)

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
        # from the page and from a phone at once: each its own number
        with _ONE_WRITER:
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
    marks = (_INPUTS, _DAMAGED)
    paths = folder.iterdir() if folder.is_dir() else ()
    found = [path for path in paths if any((path / mark).is_file() for mark in marks)]
    for path in sorted(found, key=_used, reverse=True):
        yield Draft(path)


def inputs_or_none(draft: Draft) -> Inputs | None:
    """Return what was typed in a draft, None when its file is damaged."""
    with suppress(RecordError):
        return draft.read()
    return None


def remove_old() -> None:
    """Remove saved and cleared drafts after a day and others, also unfinished ones, 14 days untouched."""
    folder = drafts_folder()
    for path in list(folder.iterdir()) if folder.is_dir() else []:
        draft = Draft(path)
        inputs = inputs_or_none(draft)
        done = inputs is not None and (inputs.saved is not None or inputs.cleared)
        if time.time() - _used(path) > (1 if done else KEPT_DAYS) * _DAY_S:
            draft.remove()


def forget_client(code: str) -> int:
    """Remove all drafts of a client, and those of which nobody can tell whose they are; return how many."""
    wanted = code.strip().upper()
    theirs = [draft for draft in all_drafts() if _is_of(draft, wanted)]
    for draft in theirs:
        draft.remove()
    return len(theirs)


def _is_of(draft: Draft, client: str) -> bool:
    inputs = inputs_or_none(draft)
    damaged = inputs is None or (draft.folder / _DAMAGED).exists()
    return damaged or (inputs is not None and inputs.client.strip().upper() == client)


def _used(folder: Path) -> float:
    inputs = folder / _INPUTS
    return (inputs if inputs.is_file() else folder).stat().st_mtime


def _number(photo: Path) -> int:
    match = _PHOTO.fullmatch(photo.name)
    return int(match.group(1)) if match else 0


def _correction_file(photo: Path) -> Path:
    return photo.with_name(photo.name.replace("photo-", "correction-").replace(".jpg", ".json"))
