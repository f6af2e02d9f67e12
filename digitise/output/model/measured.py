"""All that one measurement hands to the output."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import PurePath

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import PhotoFacts
from digitise.capture.expected.outline import BodyOutline
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose
from digitise.shape.end import EndPart
from digitise.shape.fit import LimbFit
from digitise.tape.rows import PlaceGirth, TapeRow

_PHOTO_ENDINGS = frozenset({".jpg", ".jpeg", ".png", ".heic", ".heif"})


def neutral_name(number: int, name: str) -> str:
    """Return the name that photograph ``number`` (from 1) has in files that are passed on.

    The name it was given with may be a person's; only an ending that tells the kind of picture is kept.
    """
    ending = PurePath(name).suffix.lower()
    return f"photo-{number}{ending if ending in _PHOTO_ENDINGS else ''}"


@dataclass(frozen=True)
class MeasuredEnd:
    """A foot or hand, and the photographs that it was measured from besides the others.

    Attributes
    ----------
    part
        The foot or hand, joined to its limb.
    photos, cameras, outlines
        One per photograph of it alone, in the same order.
    """

    part: EndPart
    photos: tuple[Photograph, ...]
    cameras: tuple[Camera, ...]
    outlines: tuple[BodyOutline, ...]


@dataclass(frozen=True)
class Measured:
    """A measured limb and what it was measured from.

    Attributes
    ----------
    photos, outlines, facts
        One per photograph, in the same order.
    calibration
        The solved cameras, in that order.
    fit
        The limb, its tape check and warnings.
    tape
        All rows as read.
    findings
        Of the photographs.
    axis_from_world
        Frame of the limb's axis; heights are counted along it.
    field_sha256
        Digest of the sheets' content; None when it is not known.
    landmark
        Photograph, from 0, and pixels of the place on a lying limb from which heights count.
    end
        The foot or hand, where a photograph from above shows it.
    places
        Girths taped on foot or hand; they stand beside the limb and do not enter it.
    """

    photos: tuple[Photograph, ...]
    calibration: Calibration
    outlines: tuple[Outline, ...]
    fit: LimbFit
    tape: tuple[TapeRow, ...]
    findings: tuple[Finding, ...]
    facts: tuple[PhotoFacts, ...]
    axis_from_world: Pose
    field_sha256: str | None = None
    landmark: tuple[int, float, float] | None = None
    end: MeasuredEnd | None = None
    places: tuple[PlaceGirth, ...] = ()

    @property
    def file_names(self) -> tuple[str, ...]:
        """Neutral names of the photographs."""
        return tuple(neutral_name(n, photo.name) for n, photo in enumerate(self.photos, start=1))

    @property
    def end_file_names(self) -> tuple[str, ...]:
        """Neutral names of the photographs of foot or hand alone, numbered after the others."""
        above = () if self.end is None else self.end.photos
        first = len(self.photos) + 1
        return tuple(neutral_name(n, photo.name) for n, photo in enumerate(above, start=first))
