"""HEIC files for tests: the program reads them only, with another library than this one, which writes."""

import io

import pillow_heif


def heic_bytes(image, exif=b"", quality=90):
    """Return a picture as a HEIC file."""
    file = io.BytesIO()
    pillow_heif.from_pillow(image).save(file, quality=quality, exif=exif or None)
    return file.getvalue()
