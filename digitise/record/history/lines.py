"""Reading the lines of the history."""

from __future__ import annotations

from typing import cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from digitise.record.history.values import HistoryLine, Mend
from digitise.record.rows import time_of
from digitise.record.tables import ClientRow, HistoryRow
from digitise.record.values import VisitId


def history(session: Session, code: str | None) -> tuple[HistoryLine, ...]:
    """Return the lines of a client's history, or of all, oldest first."""
    query = (
        select(HistoryRow, ClientRow.code)
        .join(ClientRow, HistoryRow.client_id == ClientRow.id)
        .order_by(HistoryRow.id)
    )
    if code is not None:
        query = query.where(ClientRow.code == code)
    return tuple(
        HistoryLine(
            client,
            VisitId(row.visit_id),
            time_of(row.done_utc),
            cast(Mend, row.what),
            row.was,
            row.became,
            row.done_by,
        )
        for row, client in session.execute(query)
    )
