"""When a visit was: as typed, or as its photographs tell; no Streamlit here."""

from __future__ import annotations

import io
import re
from contextlib import suppress
from datetime import datetime, timedelta

from PIL import Image, UnidentifiedImageError

LATE = timedelta(minutes=30)
"""Photographs older than this were not taken now: the visit is dated by them."""

_EARLIEST = datetime(1990, 1, 1).astimezone()
# 2.3.2026, as many languages write it: day, month, year
_DAY_FIRST = re.compile(r"\d{1,2}\.\d{1,2}\.\d{4} ")
_DETAILS, _TAKEN = 0x8769, 0x9003


def is_sound(day: str | None, hour: str | None) -> bool:
    """Tell whether a typed date and time can be those of a visit; empty is now."""
    return (not (day or "").strip() and not (hour or "").strip()) or typed_time(day, hour) is not None


def typed_time(day: str | None, hour: str | None) -> datetime | None:
    """Return the time that was typed, in this computer's zone; None when it is none or in the future."""
    with suppress(ValueError):
        words = f"{(day or '').strip()} {(hour or '').strip() or '12:00'}"
        form = "%d.%m.%Y %H:%M" if _DAY_FIRST.match(words) else "%Y-%m-%d %H:%M"
        found = datetime.strptime(words, form).astimezone()
        # at noon of today when only the day was typed
        now = datetime.now().astimezone()
        if (hour or "").strip() == "" and found.date() == now.date():
            return now
        if _EARLIEST <= found <= now:
            return found
    return None


def as_typed(when: datetime) -> tuple[str, str]:
    """Return a date and time as somebody would type it here."""
    local = when.astimezone()
    return f"{local:%Y-%m-%d}", f"{local:%H:%M}"


def taken(data: bytes) -> datetime | None:
    """Return when a photograph says it was taken, in this computer's zone; None when it does not say."""
    try:
        with Image.open(io.BytesIO(data)) as image:
            words = image.getexif().get_ifd(_DETAILS).get(_TAKEN)
        found = datetime.strptime(str(words), "%Y:%m:%d %H:%M:%S").astimezone()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return None
    return found if _EARLIEST <= found <= datetime.now().astimezone() else None
