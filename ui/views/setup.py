"""Set up: sheets to print, where everything stands, a test photograph."""

from __future__ import annotations

import streamlit as st

from digitise.capture.sheets.layout import parse_print_scale
from digitise.paper import Paper
from digitise.unfinished import temporary_folder
from ui import measuring, papers, pictures, present, state, work
from ui.components import frame
from ui.draft import Draft
from ui.inputs import Inputs
from ui.spoken import text


def main() -> None:
    """Draw the page."""
    frame.head(text.SETUP_TITLE, text.SETUP_LEAD)
    state.draft()
    left, right = st.columns([1, 1], gap="large")
    with left:
        for number, (title, words) in enumerate(text.SETUP_STEPS, start=1):
            st.subheader(f"{number} · {title}", anchor=False)
            st.markdown(words)
            if number == 1:
                _sheets()
        st.info(text.SETUP_LITTLE_ROOM)
    with right:
        with st.container(key="plan"):
            st.image(pictures.plan_drawing(), width="stretch", alt=text.SETUP_PLAN_ALT)
            st.image(pictures.side_drawing(), width="stretch", alt=text.SETUP_SIDE_ALT)
        st.markdown(text.SETUP_LYING)
        with st.container(key="plan-lying"):
            st.image(pictures.lying_drawing(), width="stretch", alt=text.SETUP_LYING_ALT)
        st.markdown(text.SETUP_UPRIGHT)
        with st.container(key="plan-upright"):
            st.image(pictures.upright_drawing(), width="stretch", alt=text.SETUP_UPRIGHT_ALT)
        _test_photograph()
    frame.foot()


def _sheets() -> None:
    left, right = st.columns(2, vertical_alignment="bottom")
    offered: list[Paper] = ["a4", "letter", "roll"]
    key = state.spoken("paper")
    paper = left.selectbox(text.SETUP_PAPER, offered, format_func=text.PAPERS.__getitem__, key=key)
    scale = right.text_input(text.SETUP_SCALE_LINE, "1", key="scale", help=text.PRINT_SCALE_HELP)
    with frame.errors():
        parse_print_scale(scale)  # said at once, not after the click
        st.download_button(
            text.SETUP_DOWNLOAD,
            lambda: papers.sheets_zip(paper, scale),
            f"sheets-{paper}.zip",
            "application/zip",
            type="primary",
            icon=":material/download:",
            on_click="ignore",
        )


def _test_photograph() -> None:
    st.subheader(text.SETUP_TEST, anchor=False)
    st.markdown(text.SETUP_TEST_LEAD)
    file = st.file_uploader(
        text.SETUP_TEST_UPLOAD, type=["jpg", "jpeg", "png", "heic", "heif"], key="test-photo"
    )
    sheets = {**text.PAPERS, "own": text.SHEETS_NAMES["own"]}
    key = state.spoken("test-paper")
    paper = st.selectbox(text.SHEETS, list(sheets), format_func=sheets.__getitem__, key=key)
    own = st.file_uploader("field.json", type=["json"], key="test-field") if paper == "own" else None
    if file is None or (paper == "own" and own is None):
        return
    with frame.errors(), temporary_folder() as scratch, frame.steps() as tell:
        draft = Draft(scratch)
        inputs = Inputs.model_validate({"sheets": paper})
        if own is not None:
            draft.write_field(own.getvalue().decode("utf-8", errors="replace"))
        path = draft.add_photo(file.getvalue(), file.name)
        field = work.field_of(draft, inputs)
        found = work.inspect([path], field, work.field_key(draft, inputs), tell)
        seen = found.seen[0]
        findings = found.inspection.findings
        st.image(
            measuring.jpeg(pictures.marked_picture(work.opened(path), seen.detections, field)),
            alt=text.PHOTO_ALT.format(1),
        )
        if present.worst(findings) == "note":
            st.success(text.SETUP_TEST_GOOD)
        for line in present.finding_lines(findings):
            st.warning(line)
        with st.expander(text.PHOTO_ALL_NOTES):
            st.markdown(present.notes_line(findings))


frame.page(main)
