"""When a photograph was taken: read to tell visits apart, never stored or passed on."""

from __future__ import annotations

import io
import warnings
from datetime import UTC, datetime, timedelta

from PIL import Image
from PIL.ExifTags import IFD, Base

_FORM = "%Y:%m:%d %H:%M:%S"


def time_taken(data: bytes) -> datetime | None:
    """Return when a file's picture was taken by its own clock, in UTC where it names its time zone.

    A file without the tag ``DateTimeOriginal``, or with a damaged one, gives None.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            tags = Image.open(io.BytesIO(data)).getexif().get_ifd(IFD.Exif)
            taken = datetime.strptime(str(tags[Base.DateTimeOriginal]).strip("\0 "), _FORM)
        except Exception:  # a damaged block can raise almost anything, and the picture is still good
            return None
    ahead = _offset(str(tags.get(Base.OffsetTimeOriginal, "")))
    return taken if ahead is None else (taken - ahead).replace(tzinfo=UTC)


def minutes_between(first: datetime | None, second: datetime | None) -> float | None:
    """Return how far two photographs' times lie apart, minutes; None where one is not known.

    A time without a zone is compared by what the clock showed.
    """
    if first is None or second is None:
        return None
    if (first.tzinfo is None) != (second.tzinfo is None):
        first, second = first.replace(tzinfo=None), second.replace(tzinfo=None)
    return abs((second - first).total_seconds()) / 60.0


def _offset(text: str) -> timedelta | None:
    """Read a time zone such as +01:00."""
    try:
        sign = {"+": 1, "-": -1}[text[:1]]
        return sign * timedelta(hours=int(text[1:3]), minutes=int(text[4:6]))
    except (KeyError, ValueError):
        return None
