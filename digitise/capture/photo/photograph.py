"""Photographs: load, orient, limit, strip of everything that could identify a person or place."""

from __future__ import annotations

import hashlib
import io
import warnings
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

import cv2
import numpy as np
import pi_heif
from numpy.typing import NDArray
from PIL import Image

from digitise.capture.photo import jpeg
from digitise.capture.photo.exif import ExifFacts, facts_block, read_facts
from digitise.capture.photo.idle import has_idle_bytes
from digitise.capture.photo.refusals import RETAKE, damaged, too_many_pixels, unreadable
from digitise.capture.photo.taken import time_taken
from digitise.errors import PhotoError

LARGEST_FILE = 60 * 2**20
"""Bytes; phone photographs of 50 megapixels take about 25 MB."""
MOST_PIXELS = 120_000_000
FEWEST_PIXELS = 300_000
_JPEG_QUALITY = 95

_TURN = {
    3: cv2.ROTATE_180,
    6: cv2.ROTATE_90_CLOCKWISE,
    8: cv2.ROTATE_90_COUNTERCLOCKWISE,
}
pi_heif.register_heif_opener()


@dataclass(frozen=True)
class Photograph:
    """A photograph the right way up, without location or serial numbers.

    Attributes
    ----------
    name
        File name, for messages.
    pixels
        (H, W, 3) uint8, RGB, sRGB tone curve, EXIF orientation already applied.
    sha256
        Hex digest of the file's bytes.
    kept_sha256
        Hex digest of the file that :func:`remove_metadata` makes of it; empty when it came from no file.
    focal_35mm
        Focal length in 35-mm equivalent (mm, by the diagonal), None when the file does not say.
    lens_key
        Equal for photographs of one phone at one focal setting and picture size; None when unknown.
    facts
        What else the file says of its camera type; orientation is that of ``pixels``, always 1.
    taken
        When, by the phone's clock; to compare photographs with, and in nothing that is stored or passed on.
    """

    name: str
    pixels: NDArray[np.uint8]
    sha256: str
    focal_35mm: float | None
    lens_key: str | None
    facts: ExifFacts = field(default_factory=ExifFacts)
    kept_sha256: str = ""
    taken: datetime | None = field(default=None, repr=False)


def read_photo(path: Path | str) -> Photograph:
    """Read a JPEG, PNG or HEIC/HEIF photograph.

    Greyscale becomes RGB and transparency is laid on white.  Pictures in print colours (CMYK), with
    16 bits per channel, or with several frames are refused; of a JPEG or HEIC file with previews or
    depth maps the main picture is taken.  A damaged EXIF block counts as absent.

    Raises
    ------
    PhotoError
        When the file is missing, empty, cut short, too large, too small or of another type.
    """
    path = Path(path)
    data = photo_bytes(path)
    pixels, facts = _decode(data, path.name)
    # a file with hidden bytes is coded anew when it is kept; that is not looked for here, for it takes time
    kept = _stripped(data, pixels, facts)
    pixels = _upright(pixels, facts.orientation)
    height, width = pixels.shape[:2]
    return Photograph(
        name=path.name,
        pixels=pixels,
        sha256=hashlib.sha256(data).hexdigest(),
        focal_35mm=facts.focal_35mm,
        lens_key=facts.lens_key((width, height)),
        facts=replace(facts, orientation=1),
        kept_sha256=hashlib.sha256(kept).hexdigest(),
        taken=time_taken(data),
    )


def remove_metadata(source: Path | str | Photograph) -> bytes:
    """Return the photograph as a JPEG file that identifies nobody and no place.

    Location, times, serial numbers, maker notes, owner, comments, colour profile, thumbnails and
    everything after the picture are left out.  Camera type, focal length, 35-mm equivalent, digital
    zoom and orientation stay, so that the photograph can be measured again.  The coded picture of a
    JPEG file is copied, hence its pixels decode the same; other types, and a JPEG file that hides bytes
    among the coded ones, are coded anew.

    Raises
    ------
    PhotoError
        As for :func:`read_photo`.
    """
    if isinstance(source, Photograph):
        return _encode(source.pixels, source.facts)
    path = Path(source)
    return remove_metadata_from(photo_bytes(path), path.name)


def remove_metadata_from(data: bytes, name: str) -> bytes:
    """Return what :func:`remove_metadata` returns, for the bytes of a file that is on no disk yet.

    Parameters
    ----------
    data
        The file's bytes.
    name
        Its name, for messages.

    Raises
    ------
    PhotoError
        As for :func:`read_photo`.
    """
    _check_bytes(data, name)
    pixels, facts = _decode(data, name)
    if data.startswith(b"\xff\xd8") and has_idle_bytes(data):
        return _encode(_upright(pixels, facts.orientation), replace(facts, orientation=1))
    return _stripped(data, pixels, facts)


def _stripped(data: bytes, pixels: NDArray[np.uint8], facts: ExifFacts) -> bytes:
    if data.startswith(b"\xff\xd8"):
        return jpeg.without_metadata(data, facts_block(facts))
    return _encode(_upright(pixels, facts.orientation), replace(facts, orientation=1))


def linear_light(values: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return the light (0 to 1, float32, same shape) behind sRGB values 0 to 255.

    The inverse of the sRGB transfer function, IEC 61966-2-1.
    """
    if not values.size:
        return np.zeros(values.shape, np.float32)
    flat = np.ascontiguousarray(values).reshape(1, -1)
    return cv2.LUT(flat, _LINEAR).reshape(values.shape).astype(np.float32, copy=False)


def _linear_table() -> NDArray[np.float32]:
    coded = np.arange(256) / 255.0
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    return linear.astype(np.float32)


_LINEAR = _linear_table()


def photo_bytes(path: Path) -> bytes:
    """Return a photograph's file as it is.

    Raises
    ------
    PhotoError
        When it is missing, empty or too large.
    """
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise PhotoError(
                "This is a folder, not a photograph.", where=path.name, do="Name one photograph."
            )
        _check_size(size, path.name)
        data = path.read_bytes()
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise PhotoError(
            f"The photograph cannot be opened ({reason}).",
            where=path.name,
            do="Check the file's name and folder.",
        ) from error
    _check_bytes(data, path.name)
    return data


def _check_bytes(data: bytes, name: str) -> None:
    if not data:
        raise PhotoError("The file is empty.", where=name, do="Copy the photograph from the phone again.")
    _check_size(len(data), name)


def _check_size(size: int, name: str) -> None:
    if size > LARGEST_FILE:
        raise PhotoError(
            f"The file has {size / 2**20:.0f} MB; at most {LARGEST_FILE // 2**20} MB can be read.",
            where=name,
            do=RETAKE,
        )


def _decode(data: bytes, name: str) -> tuple[NDArray[np.uint8], ExifFacts]:
    """Return pixels (H, W, 3) as stored, not yet upright, and the facts of the file."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # size limits are ours, checked before a pixel is decoded
        try:
            image = Image.open(io.BytesIO(data), formats=("JPEG", "PNG", "HEIF"))
        except Image.DecompressionBombError as error:
            raise too_many_pixels("far more", name, MOST_PIXELS) from error
        except Exception as error:  # decoders raise almost anything on damaged headers
            raise unreadable(data, name) from error
        _check_header(image, data, name)
        try:
            pixels = _decode_jpeg(data) if _is_jpeg(image) else _decode_other(image)
        except Exception as error:
            raise damaged(name) from error
        if pixels.shape[:2] != image.size[::-1]:
            raise damaged(name)
        return pixels, read_facts(image)


def _is_jpeg(image: Image.Image) -> bool:
    # Pillow names a JPEG with further pictures behind the first one MPO
    return image.format in ("JPEG", "MPO")


def _check_header(image: Image.Image, data: bytes, name: str) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise too_many_pixels(f"{width} x {height} pixels, more", name, MOST_PIXELS)
    if width * height < FEWEST_PIXELS:
        raise PhotoError(
            f"The picture has only {width} x {height} pixels.",
            where=name,
            do="Use the original photograph, not a preview or a copy from a chat.",
        )
    if image.format == "PNG" and getattr(image, "is_animated", False):
        raise PhotoError("The picture is animated.", where=name, do=RETAKE)
    if image.mode in ("CMYK", "YCCK"):
        raise PhotoError("The picture is in print colours (CMYK).", where=name, do="Save it as RGB.")
    if image.format == "PNG" and data[24] == 16:  # IHDR: width, height, then bit depth
        raise PhotoError(
            "The picture has 16 bits per channel.", where=name, do="Save it with 8 bits per channel."
        )


def _decode_jpeg(data: bytes) -> NDArray[np.uint8]:
    if not jpeg.is_complete(data):
        raise ValueError("cut short")
    flags = cv2.IMREAD_COLOR_RGB | cv2.IMREAD_IGNORE_ORIENTATION
    pixels = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if pixels is None:
        raise ValueError("no picture")
    return pixels.astype(np.uint8, copy=False)


def _decode_other(image: Image.Image) -> NDArray[np.uint8]:
    image.load()
    if image.has_transparency_data:
        layered = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", layered.size, "white"), layered)
    return np.array(image.convert("RGB"))


def _upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Undo the EXIF orientation (EXIF 2.3, tag 274)."""
    if orientation in _TURN:
        turned = cv2.rotate(pixels, _TURN[orientation])
    elif orientation in (2, 4):
        turned = cv2.flip(pixels, 1 if orientation == 2 else 0)
    elif orientation in (5, 7):
        turned = cv2.transpose(pixels)
        turned = cv2.rotate(turned, cv2.ROTATE_180) if orientation == 7 else turned
    else:
        return pixels
    return turned.astype(np.uint8, copy=False)


def _encode(pixels: NDArray[np.uint8], facts: ExifFacts) -> bytes:
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=_JPEG_QUALITY, subsampling=0, exif=facts_block(facts))
    return file.getvalue()
