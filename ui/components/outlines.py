"""Both outlines on their photographs, and the way to correct them."""

from __future__ import annotations

import streamlit as st

from digitise.capture.outline.correction import correction_from_json
from digitise.output.model.measured import Measured
from ui import state, text, work
from ui.components import frame
from ui.components.editor import editor_data, outline_editor
from ui.draft import Draft


def show(draft: Draft, measured: Measured, locked: bool) -> None:
    """Draw the outlines with a button to correct each."""
    st.subheader(text.OUTLINES, anchor=False)
    st.markdown(text.OUTLINES_LEAD)
    paths = draft.photos
    for start in range(0, len(paths), 2):
        for column, number in zip(st.columns(2), range(start, min(start + 2, len(paths))), strict=False):
            with column:
                st.image(
                    work.outline_picture(paths[number], measured, number),
                    width="stretch",
                    alt=text.OUTLINE_ALT.format(number + 1),
                )
                if draft.correction(paths[number]) is not None:
                    st.caption(text.CORRECTED)
                if st.button(
                    text.CORRECT.format(number + 1),
                    key=state.widget(f"correct-{number}"),
                    icon=":material/edit:",
                    disabled=locked,
                ):
                    _correct(draft, measured, number)


@st.dialog(text.EDITOR_TITLE, width="large")
def _correct(draft: Draft, measured: Measured, number: int) -> None:
    path = draft.photos[number]
    st.markdown(text.EDITOR_LEAD)
    done = outline_editor(
        key=state.widget(f"editor-{number}"),
        data=editor_data(path, measured, number, draft.correction(path)),
        on_correction_change=lambda: None,
    )
    if done.correction:
        with frame.errors():
            correction_from_json(done.correction, path.name)
            draft.write_correction(path, done.correction)
            st.rerun()
    if draft.correction(path) is not None and st.button(
        text.CORRECTION_DROP.format(text.PHOTO_NAME.format(number + 1)), key=state.widget(f"drop-{number}")
    ):
        draft.write_correction(path, None)
        st.rerun()
