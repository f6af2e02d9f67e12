"""Tables for the page: a dictionary for each row, by the heads of its columns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

from ui.lengths import Unit

C = TypeVar("C")


def table(heads: Sequence[str], rows: Iterable[Sequence[C]]) -> list[dict[str, C]]:
    """Return rows, of as many cells as there are heads, as the page's tables take them.

    Examples
    --------
    >>> table(("Height", "Girth"), [("10", "25")])
    [{'Height': '10', 'Girth': '25'}]
    """
    return [dict(zip(heads, row, strict=True)) for row in rows]


def heads_in(unit: Unit, heads: Iterable[str]) -> tuple[str, ...]:
    """Return heads of columns with the unit of their lengths."""
    return tuple(head.format(unit.name) for head in heads)
