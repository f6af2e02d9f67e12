"""The few facts of a photograph's EXIF block that the measurement needs; everything else is dropped."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

from PIL import Image
from PIL.ExifTags import IFD, Base

_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)
_UNIT_MM = {2: 25.4, 3: 10.0, 4: 1.0, 5: 0.001}
"""FocalPlaneResolutionUnit: inch, centimetre, millimetre, micrometre (EXIF 2.3 and TIFF/EP)."""
_LONGEST_NAME = 60


@dataclass(frozen=True)
class ExifFacts:
    """What a photograph's file says of its camera; nothing that tells one phone or place from another.

    Attributes
    ----------
    make, model
        The camera's type; empty when the file does not say.
    focal_mm
        True focal length, mm.
    focal_35mm
        35-mm equivalent, mm.  The tag FocalLengthIn35mmFilm is taken as it stands, because phones
        write the value after digital zoom there (common practice).  Where only the focal length and
        the sensor's resolution are given, the equivalent is computed by the diagonal, times the
        digital zoom, in whole mm.
    zoom
        DigitalZoomRatio, 1 when the file does not say.
    orientation
        EXIF orientation, 1 to 8.
    """

    make: str = ""
    model: str = ""
    focal_mm: float | None = None
    focal_35mm: float | None = None
    zoom: float = 1.0
    orientation: int = 1

    def lens_key(self, size: tuple[int, int]) -> str | None:
        """Return the same text for one camera type, focal setting and oriented (width, height) in pixels.

        None when the file names no camera model or no focal length.
        """
        if not self.model or (self.focal_mm is None and self.focal_35mm is None):
            return None
        focal, film = self.focal_mm or 0.0, self.focal_35mm or 0.0
        return f"{self.make}|{self.model}|{focal:.3f}|{film:.2f}|{self.zoom:.3f}|{size[0]}x{size[1]}"


def read_facts(image: Image.Image) -> ExifFacts:
    """Return the facts of an opened image; a damaged EXIF block gives fewer facts, never an error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            exif = image.getexif()
            outer: dict[int, Any] = dict(exif)
        except Exception:  # a damaged block can raise almost anything, and the picture is still good
            return ExifFacts()
        try:
            inner: dict[int, Any] = dict(exif.get_ifd(IFD.Exif))
        except Exception:
            inner = {}
    orientation = outer.get(Base.Orientation)
    zoom = _number(inner.get(Base.DigitalZoomRatio), 1.0, 100.0) or 1.0
    focal = _number(inner.get(Base.FocalLength), 0.3, 3000.0)
    film = _number(inner.get(Base.FocalLengthIn35mmFilm), 4.0, 3000.0)
    return ExifFacts(
        make=_name(outer.get(Base.Make)),
        model=_name(outer.get(Base.Model)),
        focal_mm=focal,
        focal_35mm=film or _film_from_sensor(focal, zoom, inner, image.size),
        zoom=zoom,
        orientation=orientation if isinstance(orientation, int) and 1 <= orientation <= 8 else 1,
    )


def facts_block(facts: ExifFacts) -> bytes:
    """Return an EXIF block (with its ``Exif`` prefix) that holds these facts and nothing else."""
    exif = Image.Exif()
    exif[Base.Orientation] = facts.orientation
    if facts.make:
        exif[Base.Make] = facts.make
    if facts.model:
        exif[Base.Model] = facts.model
    inner = exif.get_ifd(IFD.Exif)
    if facts.focal_mm is not None:
        inner[Base.FocalLength] = facts.focal_mm
    if facts.focal_35mm is not None:
        inner[Base.FocalLengthIn35mmFilm] = round(facts.focal_35mm)
    if facts.zoom != 1.0:
        inner[Base.DigitalZoomRatio] = facts.zoom
    return exif.tobytes()


def _film_from_sensor(
    focal: float | None, zoom: float, inner: dict[int, Any], size: tuple[int, int]
) -> float | None:
    """35-mm equivalent by the diagonal from the sensor's pixels per unit length."""
    unit = _UNIT_MM.get(inner.get(Base.FocalPlaneResolutionUnit, 2))
    across = _number(inner.get(Base.FocalPlaneXResolution), 1.0, 1e7)
    up = _number(inner.get(Base.FocalPlaneYResolution), 1.0, 1e7)
    if focal is None or unit is None or across is None or up is None:
        return None
    # the resolution counts pixels of the full picture, which this file may hold at a smaller size
    width = _number(inner.get(Base.ExifImageWidth), 1.0, 1e6) or size[0]
    height = _number(inner.get(Base.ExifImageHeight), 1.0, 1e6) or size[1]
    diagonal = math.hypot(width / across, height / up) * unit
    # whole millimetres, as the tag it stands for: read again from a stripped copy it must be the same
    return _number(round(focal * _FILM_DIAGONAL_MM / diagonal * zoom), 4.0, 3000.0)


def _number(value: Any, low: float, high: float) -> float | None:
    """Return ``value`` as a float when it is a number inside the bounds."""
    try:
        number = float(value)
    except (TypeError, ValueError, ArithmeticError):
        return None
    return number if low <= number <= high else None


def _name(value: Any) -> str:
    """Return a make or model as plain printable text of bounded length."""
    if not isinstance(value, str):
        return ""
    kept = "".join(c for c in value if c.isascii() and c.isprintable() and c != "|")
    return " ".join(kept.split())[:_LONGEST_NAME]
