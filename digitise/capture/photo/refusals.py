"""Why a file is no photograph that can be measured."""

from __future__ import annotations

from digitise.errors import PhotoError

_OUR_TYPES = (b"\xff\xd8", b"\x89PNG")
_OUR_HEIF_BRANDS = (b"ftyphei", b"ftyphev", b"ftypmif1", b"ftypmsf1")
_OTHER_TYPES = (
    (0, b"%PDF", "a PDF document"),
    (0, b"GIF8", "a GIF picture"),
    (0, b"BM", "a BMP picture"),
    (0, b"II*\0", "a TIFF or raw picture"),
    (0, b"MM\0*", "a TIFF or raw picture"),
    (8, b"WEBP", "a WebP picture"),
    (4, b"ftypavif", "an AVIF picture"),
    (4, b"ftyp", "a film clip"),
)
RETAKE = "Use the photograph as the phone saved it: JPEG, PNG or HEIC."


def unreadable(data: bytes, name: str) -> PhotoError:
    """Return the error of a file that no decoder opens; tells other kinds by their first bytes."""
    if data.startswith(_OUR_TYPES) or data.startswith(_OUR_HEIF_BRANDS, 4):
        return damaged(name)
    for offset, magic, kind in _OTHER_TYPES:
        if data.startswith(magic, offset):
            return PhotoError(f"This is {kind}, which cannot be measured.", where=name, do=RETAKE)
    return PhotoError("This file is not a photograph.", where=name, do=RETAKE)


def too_many_pixels(how_many: str, name: str, most: int) -> PhotoError:
    """Return the error of a picture of more than ``most`` pixels."""
    return PhotoError(
        f"The picture has {how_many} than {most // 10**6} megapixels.",
        where=name,
        do="Set the phone's camera to 12 megapixels.",
    )


def damaged(name: str) -> PhotoError:
    """Return the error of a photograph that is cut short or damaged."""
    return PhotoError(
        "The photograph is damaged or was cut short.",
        where=name,
        do="Copy it from the phone again, or retake it.",
    )
