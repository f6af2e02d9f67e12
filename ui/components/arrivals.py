"""What is noted of a photograph that came in, whichever way it came."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from ui import dates, state
from ui.inputs import Inputs


def note(file: str, name: str, taken: datetime | None) -> None:
    """Remember the name a photograph came with, and date the visit by it.

    Parameters
    ----------
    file
        Name of its file in the draft.
    name
        The name it came with.
    taken
        When it says it was taken; None when it does not say.
    """
    _date_by(taken)
    known = state.value("names")
    names = (state.base() or Inputs()).names if known is None else known
    state.put("names", {**names, file: Path(name).name[:80]})


def _date_by(when: datetime | None) -> None:
    """Date the visit by its photographs where they were not taken just now and nothing else was typed."""
    if when is None or state.value("day") or datetime.now().astimezone() - when < dates.LATE:
        return
    state.put("late", dates.as_typed(when))
