"""Words for people in their language: one place that knows its words, its numbers and its dates.

The code speaks English, and so do all files it writes.  What a person reads passes through :func:`shown`
where it is drawn or printed; see ``docs/decisions/0008-languages.md``.
"""

from __future__ import annotations

from digitise.words.language import ENGLISH, language, languages, speaking
from digitise.words.sentences import remark, shown

__all__ = ["ENGLISH", "language", "languages", "remark", "shown", "speaking"]
