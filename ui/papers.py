"""Papers to take along and sheets to print: made once, and remembered for a while."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from datetime import datetime

from digitise.capture.sheets.layout import parse_print_scale
from digitise.care.wrap.garment import GirthList
from digitise.care.wrap.sheet import WrapSheet
from digitise.output.model.file import StoredModel
from digitise.paper import Paper
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.unfinished import temporary_folder
from digitise.workflow.report import ReportOptions
from ui import stored
from ui.memo import Memo

_files = Memo(8, spoken=True)
_sheets = Memo(3, spoken=True)


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
    models = [(stored.stored_model(store, line.id), line.taken) for line in lines]
    return _report(models, options, paper, code)


def wrap_file(model: StoredModel, taken: datetime, options: ReportOptions, paper: Paper, code: str) -> bytes:
    """Return the sheet of a wrap as a PDF.

    Raises
    ------
    DigitiseError
        The wrap cannot be made.
    """
    return _report([(model, taken)], options, paper, code)


def home_file(sheet: WrapSheet, model: StoredModel, paper: Paper) -> bytes:
    """Return the card that a client takes home with a wrap, as a PDF with the layers drawn on the limb.

    Raises
    ------
    DigitiseError
        The wrap has no layer.
    """
    from digitise.output.figures.style import png  # noqa: PLC0415
    from digitise.output.figures.wrap import wrap_layers  # noqa: PLC0415
    from digitise.output.wrap.home_card import home_card  # noqa: PLC0415

    def make() -> bytes:
        layers = png(lambda: wrap_layers(model.limb, model.end, sheet))
        return home_card(sheet.steps, model.summary.limb, paper=paper, picture=layers)

    return _files.get(("home", sheet.steps, model.summary.limb_sha256, paper), make)


def garment_file(girths: GirthList) -> str:
    """Return the girth list as the table that the command writes."""
    from digitise.output.wrap.files import garment_table  # noqa: PLC0415
    from digitise.output.wrap.form import garment_form  # noqa: PLC0415

    return garment_table(garment_form(girths))


def _report(
    models: Sequence[tuple[StoredModel, datetime]], options: ReportOptions, paper: Paper, code: str
) -> bytes:
    # these bring libraries for printing that no page needs at its start
    from digitise.output.report.content import ReportVisit  # noqa: PLC0415
    from digitise.output.report.pdf import report_pdf  # noqa: PLC0415
    from digitise.workflow.report import make_report  # noqa: PLC0415

    key = (
        tuple((m.summary.limb_sha256, taken) for m, taken in models),
        repr(options),
        paper,
        code,
    )

    def make() -> bytes:
        visits = [ReportVisit(model, taken) for model, taken in models]
        return report_pdf(make_report(visits, options, client=code), paper)

    return _files.get(key, make)


def sheets_zip(paper: Paper, print_scale: str) -> bytes:
    """Return the sheets to print and their field.json as one file.

    Raises
    ------
    DigitiseError
        The print scale is none.
    """
    # brings a library for printing that no other page needs at its start
    from digitise.capture.sheets.files import save_sheets  # noqa: PLC0415

    scale = parse_print_scale(print_scale)

    def make() -> bytes:
        stream = io.BytesIO()
        with temporary_folder() as scratch, zipfile.ZipFile(stream, "w") as archive:
            files = save_sheets(scratch / "sheets", paper, scale)
            for path in (*files.pdfs, files.field):
                archive.write(path, path.name, zipfile.ZIP_DEFLATED)
        return stream.getvalue()

    return _sheets.get((paper, scale), make)


def forget_remembered() -> None:
    """Drop all that is remembered."""
    _files.forget()
