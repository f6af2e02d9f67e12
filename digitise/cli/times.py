"""Times as they are typed."""

from __future__ import annotations

from datetime import datetime

import typer


def visit_time(word: str) -> datetime:
    """Return a time typed for ``--when``; without a zone it is this computer's.

    Raises
    ------
    typer.BadParameter
        It is no time.
    """
    try:
        time = datetime.fromisoformat(word)
        return time if time.tzinfo else time.astimezone()
    except (ValueError, OverflowError) as problem:
        raise typer.BadParameter(
            f"{word} is no time; write it like 2026-03-02T09:15.", param_hint="--when"
        ) from problem
