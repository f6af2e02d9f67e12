"""Numbers and dates as a language writes them; files keep the point and the order of ISO 8601."""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import date, datetime
from functools import cache

from digitise.words.language import ENGLISH, language

_NUMBER = re.compile(r"[-+\N{MINUS SIGN}±]?\d+\.\d+")
_NUMBERS = re.compile(r"(?<![\w.])([-+\N{MINUS SIGN}±]?\d+)\.(\d+)(?![\w.]*\d)")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")


def decimal_point() -> str:
    """Return what stands between whole and parts."""
    return _point(language())


def numbers(words: str) -> str:
    """Return words with the parts of their numbers behind the language's sign; versions and names stay.

    Examples
    --------
    >>> with speaking("de"):
    ...     numbers("95 %: 1.5 to 2.25")
    '95 %: 1,5 to 2,25'
    """
    point = decimal_point()
    return words if point == "." else _NUMBERS.sub(rf"\g<1>{point}\g<2>", words)


def is_figure(words: str) -> bool:
    """Tell whether words are a number with parts, or a date of ISO 8601."""
    return bool(_NUMBER.fullmatch(words) or _DAY.fullmatch(words))


def figure(words: str) -> str:
    """Return a number, or a date of ISO 8601, as the language writes it."""
    if _DAY.fullmatch(words):
        with suppress(ValueError):
            return day(date.fromisoformat(words))
    return numbers(words)


def day(when: date) -> str:
    """Return a date in figures that nobody reads the wrong way round."""
    if language() == ENGLISH:
        return f"{when:%Y-%m-%d}"
    from babel.dates import format_date  # noqa: PLC0415

    return str(format_date(when, "medium", locale=language()))


def long_day(when: date) -> str:
    """Return a date with the month in words."""
    if language() == ENGLISH:
        return f"{when:%d %B %Y}"
    from babel.dates import format_date  # noqa: PLC0415

    return str(format_date(when, "long", locale=language()))


def moment(when: datetime) -> str:
    """Return a date with the month in words, and the time."""
    return f"{long_day(when)}, {when:%H:%M}"


def day_pattern() -> str:
    """Return how the axis of a figure writes dates, for ``strftime``."""
    return {"de": "%d.%m.%Y"}.get(language(), "%Y-%m-%d")


@cache
def _point(spoken: str) -> str:
    if spoken == ENGLISH:
        return "."
    from babel.numbers import get_decimal_symbol  # noqa: PLC0415

    return str(get_decimal_symbol(spoken))
