"""English becomes the reader's language where it is shown.

A sentence is looked up as it is.  One with values in it is recognised by the template it was made from, as
the code has it; its values are shown in turn, and take the places that the translation gives them.  What
holds several sentences, or a sign or number before one, is taken apart.  What is in no catalogue stays as it
is: a code, a name, a note that somebody typed.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import NamedTuple

from digitise.words import numbers
from digitise.words.catalogue import PLACE, UNREVIEWED, Match, catalogue
from digitise.words.language import ENGLISH, language

_SIGNED = re.compile(r"([\s,;•▲✓✗△–*!?0-9.)(“\"]*)(.*?)([\s:;.,…!?*)”\"]*)", re.DOTALL)
# places for what somebody named: it is not translated, even where it reads like a word
_NAMES = frozenset(
    {
        "folder",
        "out",
        "path",
        "file",
        "field",
        "pdf",
        "code",
        "client",
        "by",
        "measured_by",
        "reason",
        "error",
        "pictures",
    }
)
_WORD = re.compile(r"[^\W\d_]{2}")
_SENTENCE_END = re.compile(r"[.!?]\s")
# where words are taken apart
_SEAM = re.compile(r"(\n+|(?<=[.!?…;:,])\s+|\s\s+|\s·\s)")


def shown(words: str) -> str:
    """Return words in the reader's language.

    Parameters
    ----------
    words
        As the code or a file has them, in English.
    """
    spoken = language()
    return words if spoken == ENGLISH or not words else _shown(words, spoken)


def remark() -> str:
    """Return what a reader has to know of the translation; nothing of one that was reviewed."""
    spoken = language()
    return "" if catalogue(spoken).reviewed else _shown(UNREVIEWED, spoken)


def forget_remembered() -> None:
    """Drop all that was shown, so that no note of a forgotten client stays in memory."""
    for memory in (_told, _sentence, _known):
        memory.cache_clear()


class _Told(NamedTuple):
    """A translation, and how many parts of it are in no catalogue."""

    words: str
    strange: int


def _shown(words: str, spoken: str) -> str:
    return _told(words, spoken).words


@lru_cache(16384)
def _told(words: str, spoken: str) -> _Told:
    whole = _sentence(words, spoken)
    if whole is not None and not whole.strange:
        return whole
    parts = _apart(words, spoken)
    return parts if whole is None or not parts.strange else whole


@lru_cache(16384)
def _sentence(words: str, spoken: str) -> _Told | None:
    """Return the translation of one sentence, also with signs about it; None when it is none."""
    return _known(words, spoken) or _signed(words, spoken)


@lru_cache(16384)
def _known(words: str, spoken: str) -> _Told | None:
    """Return the translation of one sentence; None when it is none."""
    book = catalogue(spoken)
    if words in book.sentences:
        return _Told(book.sentences[words], 0)
    small = words[:1].lower() + words[1:]
    if small != words and small in book.sentences:
        large = book.sentences[small]
        return _Told(large[:1].upper() + large[1:], 0)
    best: _Told | None = None
    for match in book.matches(words):
        told = _filled(match, spoken)
        if told is not None and (best is None or told.strange < best.strange):
            best = told
            if not told.strange:
                break
    return best


def _filled(match: Match, spoken: str) -> _Told | None:
    """Return a translation with its values; None where little is fixed and a value is strange."""
    values = {name: _value(name, value, spoken) for name, value in match.values.items()}
    strange = sum(told.strange for told in values.values())
    if match.weak and strange:
        return None
    return _Told(PLACE.sub(lambda place: values[place[1]].words, match.translation), strange)


def _value(name: str, value: str, spoken: str) -> _Told:
    if name in _NAMES and not _SENTENCE_END.search(value):
        return _Told(value, 0)
    return _told(value, spoken)


def _signed(words: str, spoken: str) -> _Told | None:
    """Return the translation of a sentence with signs or a number before it, or signs behind it."""
    before, inside, after = _SIGNED.fullmatch(words).groups()  # type: ignore[union-attr]
    if not inside or inside == words:
        return None
    for start, first in (("", before), (before, "")):
        for end in range(len(after), -1, -1):
            core = f"{first}{inside}{after[:end]}"
            found = None if core == words else _known(core, spoken)
            if found is not None:
                return _Told(f"{numbers.numbers(start)}{found.words}{after[end:]}", found.strange)
    return None


def _apart(words: str, spoken: str) -> _Told:
    """Return words that are in no catalogue with those of their parts translated that are."""
    parts = _SEAM.split(words)
    if len(parts) == 1:
        return _Told(numbers.numbers(words), int(bool(_WORD.search(words))))
    found, strange, at = [], 0, 0
    while at < len(parts):
        end, told = _run(parts, at, spoken)
        found += [told.words, *parts[end : end + 1]]
        strange += told.strange
        at = end + 1
    return _Told("".join(found), strange)


def _run(parts: list[str], at: int, spoken: str) -> tuple[int, _Told]:
    """Return where the longest known run of parts that begins at one of them ends, and its translation."""
    for end in range(len(parts) if at else len(parts) - 2, at + 1, -2):
        told = _sentence("".join(parts[at:end]), spoken)
        if told is not None and not told.strange:
            return end, told
    return at + 1, _told(parts[at], spoken)
