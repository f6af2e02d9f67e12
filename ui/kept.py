"""What was chosen for the page, such as the unit of length, kept beside the drafts for the next time."""

from __future__ import annotations

import json
from pathlib import Path

import platformdirs

from digitise.record.opening import make_private_folder

_FILE = "page.json"


def kept(name: str) -> str:
    """Return what was chosen last; empty when nothing was."""
    return _all().get(name, "")


def keep(name: str, chosen: str) -> None:
    """Remember a choice for all pages and for the next time."""
    make_private_folder(_file().parent)
    _file().write_text(json.dumps({**_all(), name: chosen}), encoding="utf-8")


def _all() -> dict[str, str]:
    try:
        found = json.loads(_file().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(found, dict):
        return {}
    return {name: value for name, value in found.items() if isinstance(value, str)}


def _file() -> Path:
    return platformdirs.user_data_path("digitise", appauthor=False) / _FILE
