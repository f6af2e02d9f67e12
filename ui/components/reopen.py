"""The way from a stored visit back to the page where it can be changed."""

from __future__ import annotations

import streamlit as st

from digitise.record.values import VisitId
from ui import state
from ui.components import frame, saving
from ui.spoken import text


def button(number: int, key: str) -> None:
    """Draw a button that opens a stored visit again; it leads to the visit's page."""
    if not st.button(text.REOPEN, key=f"reopen-{key}", icon=":material/edit:"):
        return
    with frame.errors():
        with frame.steps() as tell:
            tell(text.STEP_OPENING)
            draft = saving.reopened(VisitId(number))
        state.open_draft(draft)
        frame.go_to("visit")
