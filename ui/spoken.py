"""The words of the page in the language of who looks at it: ``text.NAME`` is that of :mod:`ui.text`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from digitise.words import ENGLISH, language, shown
from ui import text as _english


class _Spoken:
    """Reads names of :mod:`ui.text` when they are asked for: two readers may have two languages."""

    def __getattr__(self, name: str) -> Any:
        said = getattr(_english, name)
        return said if language() == ENGLISH else _shown(said)


def _shown(said: Any) -> Any:
    """Return words, also those within tables and lists, in the language of the reader; keys stay."""
    if isinstance(said, str):
        return shown(said)
    if isinstance(said, Mapping):
        return {key: _shown(words) for key, words in said.items()}
    return tuple(_shown(words) for words in said) if isinstance(said, tuple) else said


if TYPE_CHECKING:
    from ui import text as text  # noqa: PLC0414  # exported
else:
    text = _Spoken()
