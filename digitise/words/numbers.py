"""Numbers and dates as a language writes them; files keep the point and the order of ISO 8601."""

from __future__ import annotations

import re
from datetime import date, datetime
from functools import cache

from digitise.words.language import ENGLISH, language

_NUMBERS = re.compile(r"(?<![\w.-])([-+\N{MINUS SIGN}±]?\d+)\.(\d+)(?![\w.]*\w)")
_DAY = re.compile(r"(?<![\w-])\d{4}-\d{2}-\d{2}(?![\w-])")


def decimal_point() -> str:
    """Return what stands between whole and parts."""
    return _point(language())


def numbers(words: str) -> str:
    """Return words with their numbers and dates (ISO 8601) as the language writes them; names stay.

    Examples
    --------
    >>> with speaking("de"):
    ...     numbers("95 %: 1.5 to 2.25")
    '95 %: 1,5 to 2,25'
    """
    point = decimal_point()
    if language() == ENGLISH:
        return words
    return _DAY.sub(_local_day, _NUMBERS.sub(rf"\g<1>{point}\g<2>", words))


def _local_day(found: re.Match[str]) -> str:
    try:
        return day(date.fromisoformat(found[0]))
    except ValueError:
        return found[0]


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


def day_form() -> str:
    """Return how a field for a date shows it, in letters for year, month and day."""
    return {"de": "DD.MM.YYYY"}.get(language(), "YYYY-MM-DD")


def day_pattern() -> str:
    """Return how the axis of a figure writes dates, for ``strftime``."""
    return {"de": "%d.%m.%Y"}.get(language(), "%Y-%m-%d")


@cache
def _point(spoken: str) -> str:
    if spoken == ENGLISH:
        return "."
    from babel.numbers import get_decimal_symbol  # noqa: PLC0415

    return str(get_decimal_symbol(spoken))
