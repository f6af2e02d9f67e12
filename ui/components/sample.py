"""The sample visit: opened from every empty page, marked as such, and removed with one click."""

from __future__ import annotations

from datetime import datetime

import streamlit as st

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.answers import ArterialCheck, SafetyAnswers
from digitise.care.safety.signs import CONDITIONS
from digitise.record.store import Store
from digitise.samples import sample_visits
from digitise.tape.table import read_tape
from ui import draft as drafts
from ui import drop, state
from ui.components import frame
from ui.draft import Draft
from ui.inputs import Inputs
from ui.spoken import text
from ui.typed import as_typed

CODE = "SAMPLE-1"


def is_sample(client: str) -> bool:
    """Tell whether a code is that of the sample."""
    return client.strip().upper() == CODE


def button(key: str) -> None:
    """Draw the button that opens the sample as a visit of its own."""
    if not st.button(text.SAMPLE_OPEN, key=f"sample-{key}", icon=":material/school:"):
        return
    with frame.errors():
        with frame.steps() as tell:
            tell(text.STEP_OPENING)
            state.open_draft(new_draft())
        frame.go_to("visit")


def new_draft() -> Draft:
    """Return a draft that holds the first sample visit.

    Raises
    ------
    DigitiseError
        The sample photographs are missing from this installation.
    """
    visit, unit = sample_visits()[0], state.unit()
    draft = Draft(drafts.drafts_folder() / drafts.new_token())
    for photo in visit.photos:
        draft.add_photo(photo.read_bytes(), photo.name)
    draft.write_field(visit.field.read_text(encoding="utf-8"))
    rows = tuple(
        (as_typed(row.height_mm, unit), as_typed(row.girth_mm, unit)) for row in read_tape(visit.tape)
    )
    draft.write(
        Inputs(client=CODE, limb=LimbKind.LEG, side=Side.LEFT, sheets="own", unit=unit.name, rows=rows)
    )
    return draft


def answer(client: str) -> None:
    """Keep what is asked once of the sample, which is nobody: no condition, sound arteries."""
    if not is_sample(client):
        return
    today = datetime.now().astimezone().date()
    conditions = tuple((one.code, False) for one in CONDITIONS)
    checks = (ArterialCheck("ankle-brachial", 1.0, today, "both", CODE),)
    with Store() as store:
        store.save_safety(CODE, SafetyAnswers(conditions=conditions, conditions_asked=today, arterial=checks))


def banner(client: str) -> None:
    """Say that what is shown is the sample."""
    if is_sample(client):
        st.info(text.SAMPLE_SHOWN, icon=":material/school:")


def remover(store: Store) -> None:
    """Draw the way to remove the sample from the records, where it is among them."""
    if not any(is_sample(client.code) for client in store.list_clients()):
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        st.info(text.SAMPLE_KEPT, icon=":material/school:", width="stretch")
        if st.button(text.SAMPLE_REMOVE, key="sample-remove"):
            store.forget(CODE)
            forgotten(CODE)
            st.rerun()


def forgotten(client: str) -> None:
    """Drop what the page itself still holds of a client that was forgotten."""
    drafts.forget_client(client)
    drop.forgotten()
