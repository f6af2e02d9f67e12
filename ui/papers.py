"""Papers to take along: made from saved visits once, and remembered for a while."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from digitise.output.model.file import StoredModel
from digitise.paper import Paper
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.workflow.report import ReportOptions
from ui import work
from ui.memo import Memo

_files = Memo(8)


def report_file(
    store: Store, lines: Sequence[VisitLine], options: ReportOptions, paper: Paper, *, code: str
) -> bytes:
    """Return the report on saved visits of one limb as a PDF.

    Parameters
    ----------
    store
        The records.
    lines
        The visits, of one limb.
    options
        What else it shall hold.
    paper
        Its size.
    code
        The client's code; empty when it shall not be told.

    Raises
    ------
    DigitiseError
        A visit is damaged, or the visits cannot be put side by side.
    """
    models = [(work.stored_model(store, line.id), line.taken) for line in lines]
    return _report(models, options, paper, code)


def wrap_file(model: StoredModel, taken: datetime, options: ReportOptions, paper: Paper, code: str) -> bytes:
    """Return the sheet of a wrap as a PDF.

    Raises
    ------
    DigitiseError
        The wrap cannot be made.
    """
    return _report([(model, taken)], options, paper, code)


def _report(
    models: Sequence[tuple[StoredModel, datetime]], options: ReportOptions, paper: Paper, code: str
) -> bytes:
    # these bring libraries for printing that no page needs at its start
    from digitise.output.report.content import ReportVisit  # noqa: PLC0415
    from digitise.output.report.pdf import report_pdf  # noqa: PLC0415
    from digitise.workflow.report import make_report  # noqa: PLC0415

    key = (tuple((m.summary.limb_sha256, taken) for m, taken in models), repr(options), paper, code)

    def make() -> bytes:
        visits = [ReportVisit(model, taken) for model, taken in models]
        return report_pdf(make_report(visits, options, client=code), paper)

    return _files.get(key, make)


def forget_remembered() -> None:
    """Drop all that is remembered."""
    _files.forget()
