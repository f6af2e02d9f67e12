"""Visits that are still being entered on the page: found here too, so that forgetting a client reaches them.

The page keeps each in a folder of its own, with ``draft.json`` in it, which tells the client's code, and
stripped photographs.  A page that was killed may have left files that are half written.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Collection, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs

_INPUTS = "draft"


def drafts_folder() -> Path:
    """Return where they are: in the user's data folder."""
    return platformdirs.user_data_path("digitise", appauthor=False) / "drafts"


def forget_drafts(code: str, photographs: Collection[str]) -> int:
    """Remove all that belong to a client and return how many there were.

    Parameters
    ----------
    code
        The client's code as stored.
    photographs
        Hex digests of the client's photographs: a draft that holds one is the client's, whatever it says.

    Raises
    ------
    OSError
        One of them cannot be removed.
    """
    theirs = [folder for folder in _folders() if _is_of(folder, code, photographs)]
    for folder in theirs:
        shutil.rmtree(folder)
    return len(theirs)


def clear_half_made() -> None:
    """Remove folders within drafts, which earlier versions made for photographs not stripped yet."""
    for folder in _folders():
        with suppress(OSError):
            for inner in folder.iterdir():
                if inner.is_dir() and not inner.is_symlink():
                    shutil.rmtree(inner, ignore_errors=True)


def _folders() -> Iterator[Path]:
    with suppress(OSError):
        yield from [path for path in drafts_folder().iterdir() if path.is_dir() and not path.is_symlink()]


def _is_of(folder: Path, code: str, photographs: Collection[str]) -> bool:
    for path in folder.iterdir():
        with suppress(OSError):
            if not path.is_file():
                continue
            data = path.read_bytes()
            # one half written begins with a dot, a damaged one that was set aside with the same word
            if path.name.lstrip(".").startswith(_INPUTS) and _names(data, code):
                return True
            if hashlib.sha256(data).hexdigest() in photographs:
                return True
    return False


def _names(data: bytes, code: str) -> bool:
    try:
        content: Any = json.loads(data)
    except (ValueError, RecursionError):
        return code.encode() in data.upper()
    said = content.get("client") if isinstance(content, dict) else None
    return isinstance(said, str) and said.strip().upper() == code
