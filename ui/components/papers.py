"""Papers to download: the report with what it shall hold, made when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st

from digitise.paper import Paper
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.workflow.report import ReportOptions
from ui import papers, text
from ui.components import frame


def report(lines: Sequence[VisitLine], key: str) -> None:
    """Draw what a report of these visits shall hold, and the way to make and download it."""
    with st.expander(text.REPORT, icon=":material/description:"):
        st.markdown(text.REPORT_LEAD)
        with st.container(horizontal=True):
            places = st.checkbox(text.REPORT_PLACES, key=f"report-places-{key}")
            wrap = st.checkbox(text.REPORT_WRAP, key=f"report-wrap-{key}")
            garment = st.checkbox(text.REPORT_GARMENT, key=f"report-garment-{key}")
            bilateral = st.checkbox(text.BILATERAL, key=f"report-bilateral-{key}")
            coded = st.checkbox(text.REPORT_CODE, value=True, key=f"report-code-{key}")
        paper = paper_choice(f"report-{key}")
        options = ReportOptions(places, wrap, garment, bilateral=bilateral)

        def make() -> bytes:
            with Store() as store:
                code = lines[0].client if coded else ""
                return papers.report_file(store, lines, options, paper, code=code)

        download(text.REPORT_MAKE, make, "report.pdf", f"report-{key}-{options}-{paper}-{coded}")


def paper_choice(key: str) -> Paper:
    """Draw the choice of paper and return it."""
    chosen: Paper | None = st.segmented_control(
        text.FOAM_PAPER,
        ["a4", "letter"],
        format_func=text.PAPERS.__getitem__,
        default="a4",
        required=True,
        key=f"paper-{key}",
    )
    return chosen or "a4"


def download(label: str, make: Callable[[], bytes], name: str, key: str) -> None:
    """Draw a button that makes a PDF, telling what hinders it, and then one that hands it out."""
    if not st.button(label, key=f"make-{key}", icon=":material/picture_as_pdf:"):
        return
    with frame.errors(), frame.steps() as tell:
        tell(text.STEP_PAPER)
        data = make()
        st.download_button(
            text.DOWNLOAD.format(name),
            data,
            name,
            "application/pdf",
            key=f"get-{key}",
            type="primary",
            icon=":material/download:",
            on_click="ignore",
        )
