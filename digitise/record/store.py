"""The records: visits kept whole, listed, opened, measured again, forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy.orm import Session

from digitise.care.safety.answers import SafetyAnswers
from digitise.record import loading
from digitise.record.backup import write_backup
from digitise.record.check import check_time, client_code, staff_code, validate_visit
from digitise.record.database import PATIENCE_S
from digitise.record.engines.failures import damaged
from digitise.record.forget import forget_client, forget_visit
from digitise.record.history.lines import history
from digitise.record.history.values import DeletionRecord, HistoryLine, RemovalRecord
from digitise.record.opening import copies_of, left_by_earlier_versions, open_records
from digitise.record.plans.plan import checked_plan, put_plan, stored_plan
from digitise.record.safety.answers import known_safety, save_safety, validate_safety
from digitise.record.saving import mend_visit, overwrite_visit, save_visit
from digitise.record.values import (
    Client,
    CodedVisit,
    MeasuredVisit,
    ModelFiles,
    NewVisit,
    Visit,
    VisitId,
    VisitLine,
)


class Store:
    """Records in a SQLite file or on a PostgreSQL server.

    Parameters
    ----------
    place
        A file, ``sqlite:///...`` or ``postgresql://...``; None for ``DIGITISE_RECORDS`` or the user's
        data folder.
    create
        False to refuse a place without records.
    patience_s
        How long to wait for another writer.

    Raises
    ------
    RecordError
        The records cannot be opened; so does every method when they cannot be read or written.
    """

    def __init__(
        self, place: str | Path | None = None, *, create: bool = True, patience_s: float = PATIENCE_S
    ) -> None:
        self._database = open_records(place, create=create, patience_s=patience_s)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the records."""
        self._database.close()

    def add_visit(self, visit: NewVisit) -> VisitId:
        """Store a visit, whole or not at all, and return its number once it is safe on the disk.

        Raises
        ------
        RecordError
            Something in it cannot be kept as given, or a photograph belongs to another client.
        PhotoError
            A photograph cannot be read.
        FieldError, LensError
            The marker field or the lens profile is damaged.
        """
        ready = validate_visit(visit)  # slow, hence before others have to wait
        with self._database.writing() as session:
            return save_visit(session, ready)

    def replace_visit(self, visit_id: VisitId, visit: NewVisit, *, seen: str | None = None) -> None:
        """Put a visit in the place of a stored one, whole or not at all; it keeps its number.

        Photographs of the stored visit that neither this nor another visit holds are removed.  ``seen`` is
        the ``state`` of the visit that was changed; None to replace it whatever it holds by now.

        Raises
        ------
        RecordError
            There is no such visit, it is of another client, or it is not as it was seen.
        RecordError, PhotoError, FieldError, LensError
            As for :meth:`add_visit`.
        """
        ready = validate_visit(visit)
        with self._database.writing() as session:
            overwrite_visit(session, visit_id, ready, seen)

    def mend_visit(
        self,
        visit_id: VisitId,
        *,
        taken: datetime | None = None,
        client: str | None = None,
        by: str = "",
        seen: str | None = None,
    ) -> None:
        """Mend when a visit was taken, or whose it is, and write a line of history for each.

        ``taken`` (with a time zone) and ``client`` are the right ones, or None to leave as it is; ``by``
        is who mends it, ``seen`` as for :meth:`replace_visit`.

        Raises
        ------
        RecordError
            There is no such visit, it is not as it was seen, a value cannot be kept, or a photograph of the
            visit stands in another visit of its old client too.
        """
        code = None if client is None else client_code(client)
        if taken is not None:
            check_time(taken, "when taken")
        staff = staff_code(by, "mended by")
        with self._database.writing() as session:
            mend_visit(session, visit_id, taken, code, staff, seen)

    def remove_visit(self, visit_id: VisitId, *, by: str = "", seen: str | None = None) -> RemovalRecord:
        """Remove one visit, wipe its bytes, and count that nothing is left; a line of history stays.

        Raises
        ------
        RecordError
            There is no such visit, it is not as it was seen, or another program keeps the file from being
            wiped.
        """
        staff, database = staff_code(by, "removed by"), self._database
        return forget_visit(
            database, visit_id, staff, seen, copies_of(database), left_by_earlier_versions(database)
        )

    def history(self, client: str | None = None) -> tuple[HistoryLine, ...]:
        """Return what was mended and removed of a client's visits, or of all, oldest first."""
        code = None if client is None else client_code(client)
        with self._sound_reading() as session:
            return history(session, code)

    def list_clients(self) -> tuple[Client, ...]:
        """Return all clients by their code."""
        with self._sound_reading() as session:
            return loading.clients(session)

    def list_visits(self, client: str | None = None) -> tuple[VisitLine, ...]:
        """Return the visits of a client, or of all, oldest first.

        Raises
        ------
        RecordError
            There is no such client.
        """
        code = None if client is None else client_code(client)
        with self._sound_reading() as session:
            return loading.visit_lines(session, code)

    def measured_visits(self, client: str) -> tuple[MeasuredVisit, ...]:
        """Return the visits of a client that have a model, oldest first, without the limbs' shapes.

        Raises
        ------
        RecordError
            There is no such client, or none of the visits has a model.
        """
        with self._sound_reading() as session:
            return loading.measured_visits(session, client_code(client))

    def coded_visits(self) -> Iterator[CodedVisit]:
        """Yield all visits, limb after limb of each client, oldest first, as one moment has them."""
        with self._sound_reading() as session:
            yield from loading.coded_visits(session)

    def load_visit(self, visit_id: VisitId) -> Visit:
        """Return one visit, without the bytes of its photographs and model.

        Raises
        ------
        RecordError
            There is no such visit.
        """
        with self._sound_reading() as session:
            return loading.visit(session, visit_id)

    def safety(self, client: str, visit_id: VisitId | None = None) -> SafetyAnswers:
        """Return all that is known of a client's safety: from every visit, and what was asked once.

        A warning sign stays open until a later visit asked for it and it was not there; that it was not there
        counts when this visit asked.  The clearance is this visit's, unless the last answer of all is no.
        ``visit_id`` is the visit that is looked at; the last one when None.

        Raises
        ------
        RecordError
            There is no such client, or no such visit of that client.
        """
        with self._sound_reading() as session:
            return known_safety(session, client_code(client), visit_id)

    def save_safety(self, client: str, answers: SafetyAnswers, *, seen: SafetyAnswers | None = None) -> None:
        """Keep a client's conditions and checks of the arteries in the place of those that are stored.

        Signs and clearance belong to visits: those of ``answers`` are not kept.  ``seen`` is what was stored
        when it was looked at; None to replace whatever is stored by now.

        Raises
        ------
        RecordError
            There is no such client, something in it cannot be kept, or it is not as it was seen.
        SafetyError
            The result of a check cannot be one.
        """
        ready = validate_safety(answers)
        with self._database.writing() as session:
            save_safety(session, client_code(client), ready, seen)

    def plan(self, visit_id: VisitId) -> str | None:
        """Return the text of the wrap's plan that was kept with a visit, None without one.

        Raises
        ------
        RecordError
            There is no such visit.
        """
        with self._sound_reading() as session:
            return stored_plan(session, visit_id)

    def keep_plan(self, visit_id: VisitId, text: str | None, *, seen: str | None) -> None:
        """Keep the text of a wrap's plan with a visit in the place of the one ``seen``; None keeps none.

        Raises
        ------
        RecordError
            There is no such visit, or it has another plan by now.
        PlanError
            The text is no plan.
        """
        ready = None if text is None else checked_plan(text)
        with self._database.writing() as session:
            put_plan(session, visit_id, ready, seen)

    def photo(self, visit_id: VisitId, number: int) -> bytes:
        """Return the stripped JPEG file of a photograph (1-based).

        Raises
        ------
        RecordError
            There is no such photograph, or its bytes are not those that were stored.
        """
        with self._sound_reading() as session:
            return loading.photo(session, visit_id, number)

    def model(self, visit_id: VisitId) -> ModelFiles:
        """Return the model of a visit.

        Raises
        ------
        RecordError
            There is none, or its bytes are not those that were stored.
        """
        with self._sound_reading() as session:
            return loading.model(session, visit_id)

    def field(self, visit_id: VisitId) -> str:
        """Return the text of the field.json that was stored with a visit.

        Raises
        ------
        RecordError
            There is none.
        """
        with self._sound_reading() as session:
            return loading.field(session, visit_id)

    def forget(self, client: str) -> DeletionRecord:
        """Remove all that is stored of a client, wipe its bytes, and count that nothing is left.

        Unsaved visits of the page and whatever killed programs left go too.

        Raises
        ------
        RecordError
            There is no such client, or another program keeps the file from being wiped.
        """
        database = self._database
        return forget_client(
            database, client_code(client), copies_of(database), left_by_earlier_versions(database)
        )

    def backup(self, path: Path) -> None:
        """Write all records into one file that is read back before it gets its name.

        Raises
        ------
        RecordError
            A file of this name exists, the disk is full, or the records are damaged.
        """
        write_backup(self._database, path)

    @contextmanager
    def _sound_reading(self) -> Iterator[Session]:
        try:
            with self._database.reading() as session:
                yield session
        except ValueError as error:  # a stored time or digest that is none
            raise damaged(self._database.where) from error
