"""Where the sample photographs are, installed or in the source tree."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from digitise.errors import PhotoError

_PACKAGE = Path(__file__).parent
_PLACES = (_PACKAGE / "sample_images", _PACKAGE.parent / "sample-images")


@dataclass(frozen=True)
class SampleVisit:
    """Input files of one sample visit of a left leg.

    Attributes
    ----------
    name
        Folder name.
    photos
        Photographs in the order they were taken.
    field, tape
        Marker field and girths.
    """

    name: str
    photos: tuple[Path, ...]
    field: Path
    tape: Path


def sample_visits() -> tuple[SampleVisit, ...]:
    """Return the sample visits, earliest first.

    Raises
    ------
    PhotoError
        The sample photographs are missing from this installation.
    """
    for place in _PLACES:
        folders = sorted(folder for folder in place.glob("*") if (folder / "field.json").is_file())
        if folders:
            return tuple(_visit(folder) for folder in folders)
    raise PhotoError(
        "The sample photographs are missing.", do="Install the program again, or run it from its source tree."
    )


def _visit(folder: Path) -> SampleVisit:
    photos = tuple(sorted(folder.glob("photo-*.jpg")))
    return SampleVisit(folder.name, photos, folder / "field.json", folder / "tape.csv")
