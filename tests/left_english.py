"""What is English in words that ought to be German."""

import re
from functools import cache

from catalogues import catalogues, stored

_ENGLISH = re.compile(r"\b(the|and|with|from|are|is|not|of|this|below|above|which|each|by|page)\b")


@cache
def _sentences():
    said = [str(one.id) for one in stored(catalogues()["de"], "de") if one.id and one.id != one.string]
    return [one for one in said if "{" not in one and " " in one and len(one) > 12]


def english_in(words):
    """What is English: sentences of the catalogue, and small words."""
    named = r"J Wound \w+|tape\.csv|\S+\.\w{3,4}\b|`[^`]*`|:material/\w+:"
    return [*(one for one in _sentences() if one in words), *_ENGLISH.findall(re.sub(named, "", words))]
