"""What was mended, and what a removal removed, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from digitise.record.values import VisitId

Mend = Literal["date", "limb", "given", "taken-over", "changed", "removed"]
"""What a line of the history tells: the date or the limb was mended, the visit was given to another code or
came from one, it was changed in another way, or removed."""


@dataclass(frozen=True)
class HistoryLine:
    """That a visit was mended or removed.

    No line names another client's code: what is told to one client must not tell of another.

    Attributes
    ----------
    client
        Whose line it is.
    visit
        Number of the visit, which may be gone.
    when
        In UTC.
    what
        What was done.
    was, became
        Before and after; empty where there is nothing to tell.
    by
        Initials or code of who did it, empty when not told.
    """

    client: str
    visit: VisitId
    when: datetime
    what: Mend
    was: str
    became: str
    by: str


@dataclass(frozen=True)
class RemovalRecord:
    """What removing one visit removed, counted before; afterwards every count was found to be zero.

    Attributes
    ----------
    visit, client
        The visit that is gone, and whose it was.
    photographs
        How many photographs went with it; one that another visit shows as well stays.
    rows
        Removed rows per table.
    copies, drafts
        As in :class:`DeletionRecord`.
    """

    visit: VisitId
    client: str
    photographs: int
    rows: Mapping[str, int]
    copies: tuple[str, ...] = ()
    drafts: int = 0


@dataclass(frozen=True)
class DeletionRecord:
    """What forgetting a client removed, counted before; afterwards every count was found to be zero.

    Attributes
    ----------
    client
        The code that is gone.
    visits, photographs
        How many were removed.
    rows
        Removed rows per table, the two above included.
    copies
        Names of copies made before changes of the database's form, removed because they held the client.
    drafts
        How many unsaved visits of the page were removed.
    """

    client: str
    visits: int
    photographs: int
    rows: Mapping[str, int]
    copies: tuple[str, ...] = ()
    drafts: int = 0
