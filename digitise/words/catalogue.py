"""One language's words: sentences, and sentences with values, which are recognised by what is fixed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import NamedTuple

from digitise.words.language import ENGLISH, LOCALE

PLACE = re.compile(r"\{([A-Za-z_]\w*)(:n)?\}")
"""A place for a value in a sentence: its name, and whether it holds a number."""

UNREVIEWED = "This translation was made by a machine and has not been reviewed."
_NUMBER = r"[-+\N{MINUS SIGN}±]?(?:\d[\d.,\u202f]*(?:e[-+]?\d+)?|nan|inf)"
# "{low} and {high}" would fit half of all that people write; from two words on a sentence is one of ours
_WEAK = 10


class Match(NamedTuple):
    """A sentence that was recognised: its translation with places, and the values by the places' names.

    It is ``weak`` where little of it is fixed: then it counts only if its values are known too.
    """

    translation: str
    values: dict[str, str]
    weak: bool


@dataclass(frozen=True)
class Template:
    """A sentence with places for values.

    Attributes
    ----------
    english, translation
        With places such as ``{name}``, in any order in the translation.
    """

    english: str
    translation: str

    @cached_property
    def fixed(self) -> tuple[str, ...]:
        """What stands between the places, the longest first."""
        return tuple(sorted(filter(None, _pieces(self.english)[::3]), key=len, reverse=True))

    @cached_property
    def weight(self) -> int:
        """How many characters are fixed; of two that fit, the one with more of them is meant."""
        return sum(map(len, self.fixed))

    @cached_property
    def patterns(self) -> tuple[re.Pattern[str], ...]:
        """What a sentence made from it looks like: with as little in its places as can be, and as much."""
        return tuple(re.compile(self._pattern(inside), re.DOTALL) for inside in (".*?", ".*"))

    def _pattern(self, words: str) -> str:
        pieces = _pieces(self.english)
        found, seen = re.escape(pieces[0]), set()
        for name, number, after in zip(pieces[1::3], pieces[2::3], pieces[3::3], strict=True):
            inside = _NUMBER if number else words
            found += f"(?P={name})" if name in seen else f"(?P<{name}>{inside})"
            seen.add(name)
            found += re.escape(after)
        return found

    def matches(self, sentence: str) -> Iterator[Match]:
        """Yield the values if a sentence was made from this one, in the two ways they can be told apart."""
        if not all(piece in sentence for piece in self.fixed):
            return
        found = [pattern.fullmatch(sentence) for pattern in self.patterns]
        values = [match.groupdict() for match in found if match is not None]
        for one in values[:1] if values[:1] == values[1:] else values:
            yield Match(self.translation, one, self.weight < _WEAK)


@dataclass(frozen=True)
class Catalogue:
    """The words of one language.

    Attributes
    ----------
    sentences
        Translations by their English.
    reviewed
        Whether somebody of the field has read them.
    """

    sentences: Mapping[str, str]
    reviewed: bool = False
    _templates: list[Template] = field(init=False, default_factory=list)

    def __post_init__(self) -> None:
        found = (Template(*pair) for pair in self.sentences.items() if PLACE.search(pair[0]))
        self._templates.extend(sorted(found, key=lambda one: -one.weight))

    def matches(self, sentence: str) -> Iterator[Match]:
        """Yield what a sentence may be made from, the likeliest template first."""
        for template in self._templates:
            yield from template.matches(sentence)


def _pieces(english: str) -> list[str]:
    """Return fixed words, name, whether a number, fixed words, name, and so on."""
    return [piece or "" for piece in PLACE.split(english)]


@cache
def catalogue(language: str) -> Catalogue:
    """Return the words of a language; none of English, which needs none."""
    if language == ENGLISH:
        return Catalogue({}, reviewed=True)
    # takes time to load, and who reads English never needs it
    from babel.messages.mofile import read_mo  # noqa: PLC0415

    with (LOCALE / language / "LC_MESSAGES/digitise.mo").open("rb") as file:
        stored = read_mo(file)
    reviewed = "NOT REVIEWED" not in str(stored.last_translator)
    return Catalogue({str(one.id): str(one.string) for one in stored if one.id and one.string}, reviewed)
