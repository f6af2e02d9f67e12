"""Which language a person reads: as chosen, else as the environment or the machine says, else English."""

from __future__ import annotations

import locale
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache
from pathlib import Path

ENGLISH = "en"
VARIABLE = "DIGITISE_LANGUAGE"
"""Names the language in the environment."""

LOCALE = Path(__file__).with_name("locale")
_chosen: ContextVar[str] = ContextVar("language", default="")
_askers: list[Callable[[], str]] = []


@cache
def languages() -> tuple[str, ...]:
    """Return the languages there are, English first; each is a code of ISO 639-1."""
    return (ENGLISH, *sorted(path.parts[-3] for path in LOCALE.glob("*/LC_MESSAGES/digitise.mo")))


def language() -> str:
    """Return the language in which words are shown here and now.

    That of the innermost :func:`speaking`; else what :func:`ask` names; else :data:`VARIABLE`; else that
    of the machine.  A language without a catalogue counts as not named.
    """
    named = _chosen.get()
    for asker in _askers:
        named = named or asker()
    for name in (named, os.environ.get(VARIABLE, "")):
        if known(name):
            return known(name)
    return _of_machine()


def known(name: str) -> str:
    """Return the code of a language such as ``de_AT.UTF-8`` if there is a catalogue, else nothing."""
    code = name.replace("-", "_").partition("_")[0].partition(".")[0].lower()
    return code if code in languages() else ""


@contextmanager
def speaking(name: str) -> Iterator[None]:
    """Show words in a language within the block; an empty name changes nothing."""
    before = _chosen.set(name or _chosen.get())
    try:
        yield
    finally:
        _chosen.reset(before)


def ask(asker: Callable[[], str]) -> None:
    """Let a function name the language wherever none is spoken: a server has one for each reader."""
    if asker not in _askers:
        _askers.append(asker)


@cache
def _of_machine() -> str:
    # as gettext reads them: the first that is set counts, also where it names no language of ours
    for variable in ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG"):
        named = os.environ.get(variable, "").partition(":")[0]
        if named:
            return known(named) or ENGLISH
    if sys.platform == "win32":
        import ctypes  # noqa: PLC0415

        number = ctypes.windll.kernel32.GetUserDefaultUILanguage()
        return known(locale.windows_locale.get(number, "")) or ENGLISH
    return ENGLISH
