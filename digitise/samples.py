"""Where the sample photographs are, installed or in the source tree."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from digitise.anatomy import CountedFrom, LimbKind
from digitise.errors import PhotoError

_PACKAGE = Path(__file__).parent
_PLACES = (_PACKAGE / "sample_images", _PACKAGE.parent / "sample-images")
_FOLDERS = {LimbKind.LEG: "pair-*", LimbKind.ARM: "arm-*"}
_LYING = "lying.json"


@dataclass(frozen=True)
class SampleLying:
    """How a sample limb lies: posture, the landmark's photograph, from 0, its pixels, and what it is."""

    posture: Literal["palm-down", "palm-up", "on-back"]
    photo: int
    at: tuple[float, float]
    place: CountedFrom


@dataclass(frozen=True)
class SampleVisit:
    """Input files of one sample visit of a left limb.

    Attributes
    ----------
    name
        Folder name.
    photos
        Photographs in the order they were taken.
    field, tape
        Marker field and girths.
    lying
        How it lies; None for a limb that stands.
    hands
        Photographs of the hand on the mat.
    """

    name: str
    photos: tuple[Path, ...]
    field: Path
    tape: Path
    lying: SampleLying | None = None
    hands: tuple[Path, ...] = ()


def sample_visits(limb: LimbKind = LimbKind.LEG) -> tuple[SampleVisit, ...]:
    """Return the sample visits of a limb, earliest first.

    Raises
    ------
    PhotoError
        The sample photographs are missing from this installation.
    """
    for place in _PLACES:
        folders = sorted(folder for folder in place.glob(_FOLDERS[limb]) if (folder / "field.json").is_file())
        if folders:
            return tuple(_visit(folder) for folder in folders)
    raise PhotoError(
        "The sample photographs are missing.", do="Install the program again, or run it from its source tree."
    )


def _visit(folder: Path) -> SampleVisit:
    photos, hands = (tuple(sorted(folder.glob(f"{kind}-*.jpg"))) for kind in ("photo", "hand"))
    field, tape = folder / "field.json", folder / "tape.csv"
    return SampleVisit(folder.name, photos, field, tape, _lying(folder / _LYING), hands)


def _lying(path: Path) -> SampleLying | None:
    if not path.is_file():
        return None
    told = json.loads(path.read_text(encoding="utf-8"))
    number, x, y = told["landmark"]
    return SampleLying(told["lying"], int(number) - 1, (float(x), float(y)), CountedFrom(told["place"]))
