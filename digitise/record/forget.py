"""Removing a client, and counting that nothing is left.

Visits that are still being entered on the page are found here too.  The page keeps each in a folder of its
own, with ``draft.json`` in it, which tells the client's code, and stripped photographs.  A page that was
killed may have left files that are half written.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Collection, Iterator, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

import platformdirs
from sqlalchemy import ColumnElement, delete, func, select
from sqlalchemy.orm import Session

from digitise.errors import RecordError
from digitise.record.database import Database
from digitise.record.engines.failures import translate_errors
from digitise.record.history.values import DeletionRecord, RemovalRecord
from digitise.record.loading import find_visit, nothing
from digitise.record.rows import history_row
from digitise.record.saving import hold_visit, remove_unused
from digitise.record.tables import (
    ArterialCheckRow,
    Base,
    ClientRow,
    ConditionsRow,
    CorrectionRow,
    FieldRow,
    HistoryRow,
    LimbRow,
    ModelRow,
    PhotographRow,
    PlaceGirthRow,
    PlanRow,
    TapeRowRow,
    VisitPhotographRow,
    VisitRow,
)
from digitise.record.values import VisitId
from digitise.unfinished import clear_unfinished

_INPUTS = "draft"
_OfClient = Mapping[type[Base], ColumnElement[bool]]
"""For each table, which of its rows belong to the client; by numbers, so that it still tells afterwards."""


def forget_client(database: Database, code: str, copies: list[Path], half_made: list[Path]) -> DeletionRecord:
    """Remove a client's rows and photographs, wipe the space they took, and prove that they are gone.

    Parameters
    ----------
    code
        The client's code as stored.
    copies
        Older copies of the records, which hold the client too; removed.
    half_made
        Files and folders that killed programs left; removed.

    Raises
    ------
    RecordError
        There is no such client, something is left, or the file cannot be wiped.
    """
    photographs: set[str] = set()
    with database.writing() as session:
        client_id = session.scalar(select(ClientRow.id).filter_by(code=code))
        if client_id is not None:
            mine = _rows_of(session, client_id)
            before = _counts(session, mine)
            photographs = set(session.scalars(select(PhotographRow.sha256).filter_by(client_id=client_id)))
            session.execute(delete(ClientRow).where(ClientRow.id == client_id))  # the rest follows by cascade
            used = select(VisitRow.field_sha256).where(VisitRow.field_sha256.is_not(None))
            session.execute(delete(FieldRow).where(FieldRow.sha256.not_in(used)))
    drafts = _wipe(database, copies, half_made, code, photographs)
    if client_id is None and not drafts:
        raise nothing(f"client {code}")
    if client_id is None:
        return DeletionRecord(client=code, visits=0, photographs=0, rows={}, drafts=drafts)
    with database.reading() as session:
        left = sum(_counts(session, mine).values())
    if left:
        raise RecordError(f"{left} rows of the client are left.", where=code, do="Give the command again.")
    return DeletionRecord(
        client=code,
        visits=before["visits"],
        photographs=before["photographs"],
        rows=before,
        copies=tuple(path.name for path in copies),
        drafts=drafts,
    )


def forget_visit(
    database: Database,
    visit_id: VisitId,
    by: str,
    seen: str | None,
    copies: list[Path],
    half_made: list[Path],
) -> RemovalRecord:
    """Remove one visit's rows and the photographs it alone shows, wipe their space, and prove it.

    Parameters
    ----------
    by, seen
        Who removes it, and the state it was seen in; None whatever it holds.
    copies, half_made
        As for :func:`forget_client`.

    Raises
    ------
    RecordError
        There is no such visit, it is not as it was seen, something is left, or the file cannot be wiped.
    """
    with database.writing() as session:
        hold_visit(session, visit_id, seen)
        _, limb, code = find_visit(session, visit_id)
        client_id = limb.client_id
        photographs = _only_in(session, visit_id)
        mine = _rows_of_visit(visit_id, photographs)
        before = _counts(session, mine)
        session.execute(delete(VisitRow).where(VisitRow.id == visit_id))  # the rest follows by cascade
        session.add(history_row(client_id, visit_id, "removed", "", "", by))
        session.flush()
        remove_unused(session, client_id)
    drafts = _wipe(database, copies, half_made, None, photographs)
    with database.reading() as session:
        left = sum(_counts(session, mine).values())
    if left:
        raise RecordError(
            f"{left} rows of the visit are left.", where=f"visit {visit_id}", do="Give the command again."
        )
    names = tuple(path.name for path in copies)
    return RemovalRecord(visit_id, code, before["photographs"], before, names, drafts)


def _only_in(session: Session, visit_id: int) -> set[str]:
    """Return the digests of the photographs that no other visit shows."""
    others = select(VisitPhotographRow.sha256).where(VisitPhotographRow.visit_id != visit_id)
    query = select(VisitPhotographRow.sha256).where(
        VisitPhotographRow.visit_id == visit_id, VisitPhotographRow.sha256.not_in(others)
    )
    return set(session.scalars(query))


def _rows_of_visit(visit_id: int, photographs: Collection[str]) -> _OfClient:
    return {
        VisitRow: VisitRow.id == visit_id,
        TapeRowRow: TapeRowRow.visit_id == visit_id,
        PlaceGirthRow: PlaceGirthRow.visit_id == visit_id,
        PhotographRow: PhotographRow.sha256.in_(photographs),
        VisitPhotographRow: VisitPhotographRow.visit_id == visit_id,
        ModelRow: ModelRow.visit_id == visit_id,
        CorrectionRow: CorrectionRow.visit_id == visit_id,
        PlanRow: PlanRow.visit_id == visit_id,
    }


def _rows_of(session: Session, client_id: int) -> _OfClient:
    limbs = session.scalars(select(LimbRow.id).filter_by(client_id=client_id)).all()
    visits = session.scalars(select(VisitRow.id).where(VisitRow.limb_id.in_(limbs))).all()
    photographs = session.scalars(select(PhotographRow.sha256).filter_by(client_id=client_id)).all()
    return {
        ClientRow: ClientRow.id == client_id,
        ConditionsRow: ConditionsRow.client_id == client_id,
        ArterialCheckRow: ArterialCheckRow.client_id == client_id,
        LimbRow: LimbRow.client_id == client_id,
        VisitRow: VisitRow.limb_id.in_(limbs),
        TapeRowRow: TapeRowRow.visit_id.in_(visits),
        PlaceGirthRow: PlaceGirthRow.visit_id.in_(visits),
        PhotographRow: PhotographRow.sha256.in_(photographs),
        VisitPhotographRow: VisitPhotographRow.visit_id.in_(visits),
        ModelRow: ModelRow.visit_id.in_(visits),
        CorrectionRow: CorrectionRow.visit_id.in_(visits),
        PlanRow: PlanRow.visit_id.in_(visits),
        HistoryRow: HistoryRow.client_id == client_id,
    }


def _counts(session: Session, of_client: _OfClient) -> dict[str, int]:
    return {
        table.__tablename__: session.scalar(select(func.count()).select_from(table).where(mine)) or 0
        for table, mine in of_client.items()
    }


def _wipe(
    database: Database, copies: list[Path], half_made: list[Path], code: str | None, photographs: set[str]
) -> int:
    """Remove what is left outside the rows and return how many unsaved visits there were."""
    try:
        with translate_errors(database.where):
            for path in copies:
                path.unlink(missing_ok=True)
            for path in half_made:
                shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
            clear_unfinished()
            drafts = forget_drafts(code, photographs)
        database.wipe()
    except RecordError as error:
        raise RecordError(
            "The rows are removed, but their bytes could not be wiped from the disk yet.",
            where=database.where,
            do="Close other programs that use the records, make room, and give the command again.",
        ) from error
    return drafts


def drafts_folder() -> Path:
    """Return where they are: in the user's data folder."""
    return platformdirs.user_data_path("digitise", appauthor=False) / "drafts"


def forget_drafts(code: str | None, photographs: Collection[str]) -> int:
    """Remove all that belong to a client, or hold some photographs, and return how many there were.

    Parameters
    ----------
    code
        The client's code as stored; None for those that hold a photograph alone.
    photographs
        Hex digests of the client's photographs: a draft that holds one is the client's, whatever it says.

    Raises
    ------
    OSError
        One of them cannot be removed.
    """
    theirs = [folder for folder in _folders() if _is_of(folder, code, photographs)]
    for folder in theirs:
        shutil.rmtree(folder)
    return len(theirs)


def clear_half_made() -> None:
    """Remove folders within drafts, which earlier versions made for photographs not stripped yet."""
    for folder in _folders():
        with suppress(OSError):
            for inner in folder.iterdir():
                if inner.is_dir() and not inner.is_symlink():
                    shutil.rmtree(inner, ignore_errors=True)


def _folders() -> Iterator[Path]:
    with suppress(OSError):
        yield from [path for path in drafts_folder().iterdir() if path.is_dir() and not path.is_symlink()]


def _is_of(folder: Path, code: str | None, photographs: Collection[str]) -> bool:
    for path in folder.iterdir():
        with suppress(OSError):
            if not path.is_file():
                continue
            data = path.read_bytes()
            # one half written begins with a dot, a damaged one that was set aside with the same word
            if code and path.name.lstrip(".").startswith(_INPUTS) and _names(data, code):
                return True
            if hashlib.sha256(data).hexdigest() in photographs:
                return True
    return False


def _names(data: bytes, code: str) -> bool:
    try:
        content: Any = json.loads(data)
    except (ValueError, RecursionError):
        return code.encode() in data.upper()
    said = content.get("client") if isinstance(content, dict) else None
    return isinstance(said, str) and said.strip().upper() == code
