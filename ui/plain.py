"""Text that somebody typed, made safe to stand in Markdown: it is shown to the letter, never obeyed."""

from __future__ import annotations

import re

_MEANING = re.compile(r"([\\`*_{}\[\]#|<>~$:&!^=])")
_AT_START = re.compile(r"^([-+]|\d+(?=[.)]))")
# the page's library still looks for links, addresses, emoji and arrows in text that is escaped
_WATCHED = re.compile(r"(\\:(?=[\w/+\\])|www(?=\.)|-(?=-|\\>)|\\<(?=-)|(?<=\w)(?=@))")
_JOINER = "\N{WORD JOINER}"


def plain(typed: str) -> str:
    """Return text as Markdown that shows exactly these characters, in one line.

    Examples
    --------
    >>> plain("K-017")
    'K-017'
    """
    one_line = " ".join(typed.split())
    escaped = _MEANING.sub(r"\\\1", one_line)
    return _AT_START.sub(_shielded, _WATCHED.sub(rf"\1{_JOINER}", escaped))


def plain_lines(typed: str) -> str:
    """Return text of several lines as Markdown that keeps its lines."""
    return "  \n".join(plain(line) for line in typed.splitlines())


def _shielded(found: re.Match[str]) -> str:
    """Keep a line's first character from making it a list: a dash is escaped, a number joined to its dot."""
    return f"\\{found[1]}" if found[1] in "-+" else f"{found[1]}{_JOINER}"
