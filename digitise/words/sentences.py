"""English becomes the reader's language where it is shown.

A sentence is looked up as it is.  One with values in it is recognised by the template it was made from, as the code
has it; its values are shown in turn, and take the places that the translation gives them.  What holds several
sentences, or a sign or number before one, is taken apart.  What is in no catalogue stays as it is: a code, a name, a
note that somebody typed.
"""

from __future__ import annotations

import re
from functools import lru_cache

from digitise.words import numbers
from digitise.words.catalogue import PLACE, UNREVIEWED, Catalogue, catalogue
from digitise.words.language import ENGLISH, language

_SIGNED = re.compile(r"([\s•▲✓✗△–*!?0-9.)(“\"]*)(.*?)([\s:.,…!?*)”\"]*)", re.DOTALL)
# where words are taken apart, the widest first; the separators stay as they are
_SEAMS = (r"(\n+)", r"((?<=[.!?…])\s+)", r"(;\s+)", r"(:\s+)", r"(,\s+)", r"(\s\s+|\s·\s)")


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
    """Return what a reader has to know of the translation; nothing of English and of one that was reviewed."""
    spoken = language()
    return "" if catalogue(spoken).reviewed else _shown(UNREVIEWED, spoken)


@lru_cache(4096)
def _shown(words: str, spoken: str) -> str:
    book = catalogue(spoken)
    found = _known(words, book, spoken) or _signed(words, book, spoken)
    return _apart(words, book, spoken) if found is None else found


def _known(words: str, book: Catalogue, spoken: str) -> str | None:
    """Return the translation of one sentence, or figure; None when it is none."""
    if words in book.sentences:
        return book.sentences[words]
    if numbers.is_figure(words):
        return numbers.figure(words)
    for match in book.matches(words):
        values = match.values
        return PLACE.sub(lambda place: _shown(values[place[1]], spoken), match.translation)  # noqa: B023
    small = words[:1].lower() + words[1:]
    if small != words and small in book.sentences:
        large = book.sentences[small]
        return large[:1].upper() + large[1:]
    return None


def _signed(words: str, book: Catalogue, spoken: str) -> str | None:
    """Return the translation of a sentence with signs or a number before it, or signs behind it."""
    before, inside, after = _SIGNED.fullmatch(words).groups()  # type: ignore[union-attr]
    if not inside or inside == words:
        return None
    for start, core, end in ((before, inside + after, ""), ("", before + inside, after), (before, inside, after)):
        found = None if core == words else _known(core, book, spoken)
        if found is not None:
            return f"{numbers.numbers(start)}{found}{end}"
    return None


def _apart(words: str, book: Catalogue, spoken: str) -> str:
    """Return words that are in no catalogue with those of their parts translated that are."""
    for seam in _SEAMS:
        parts = re.split(seam, words)
        if len(parts) > 1:
            return "".join(_runs(parts, book, spoken))
    return numbers.numbers(words)


def _runs(parts: list[str], book: Catalogue, spoken: str) -> list[str]:
    """Return parts and the seams between them, as many parts together as are known together."""
    found, at = [], 0
    while at < len(parts):
        for end in range(len(parts), at + 1, -2):
            told = None if end - at == 1 else _known("".join(parts[at:end]), book, spoken)
            if told is not None:
                break
        else:
            end, told = at + 1, _shown(parts[at], spoken)
        found.append(told)
        found.extend(parts[end : end + 1])
        at = end + 1
    return found
