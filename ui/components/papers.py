"""Papers to download: the report with what it shall hold, made when it is asked for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import streamlit as st

from digitise.paper import Paper
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.workflow.report import ReportOptions
from digitise.workflow.safety import assessed
from digitise.workflow.stored_report import kept_plan
from ui import papers
from ui.components import frame
from ui.spoken import text


def report(lines: Sequence[VisitLine], key: str) -> None:
    """Draw what a report of these visits shall hold, and the way to make and download it."""
    last = lines[-1]
    with Store() as store:
        answers = store.safety(last.client, last.id)
    withheld = assessed(answers, last.limb, last.side).withheld
    with st.expander(text.REPORT, icon=":material/description:"):
        st.markdown(text.REPORT_LEAD)
        if withheld:
            st.caption(text.WITHHELD_REPORT)
        with st.container(horizontal=True):
            places, wrap, garment = (
                st.checkbox(words, disabled=withheld, key=f"report-{name}-{key}") and not withheld
                for name, words in text.REPORT_PRESSING.items()
            )
            bilateral = st.checkbox(text.BILATERAL, key=f"report-bilateral-{key}")
            coded = st.checkbox(text.REPORT_CODE, value=True, key=f"report-code-{key}")
        paper = paper_choice(f"report-{key}")
        options = ReportOptions(places, wrap, garment, bilateral=bilateral, answers=answers)

        def make() -> bytes:
            with Store() as store:
                code = last.client if coded else ""
                plan = kept_plan(store, last.id) if wrap else None
                return papers.report_file(store, lines, replace(options, plan=plan), paper, code=code)

        download(
            text.REPORT_MAKE,
            make,
            "report.pdf",
            f"report-{key}-{places}-{wrap}-{garment}-{bilateral}-{paper}-{coded}",
        )


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
