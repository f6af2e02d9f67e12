"""A saved visit is mended, or removed, and its history told."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from digitise.record.history.values import HistoryLine
from digitise.record.store import Store
from digitise.record.values import Visit
from digitise.words import shown
from ui import dates, drop, present, state
from ui.components import chooser, frame, saving
from ui.plain import plain
from ui.spoken import text


def box(store: Store, visit: Visit) -> None:
    """Draw what can be mended of a visit: when it was, whose it is, which side; and its removal."""
    with st.expander(text.MEND, icon=":material/build:"):
        day, hour = dates.as_typed(visit.taken)
        with st.form(f"mend-{visit.id}-{visit.state}", border=False):
            left, middle, right = st.columns(3)
            typed_day = left.text_input(text.DAY, day, max_chars=10)
            typed_hour = middle.text_input(text.HOUR, hour, max_chars=5)
            code = right.text_input(text.CLIENT_CODE, visit.client, max_chars=20)
            by = st.text_input(text.MENDED_BY, max_chars=20)
            pressed = st.form_submit_button(text.MEND_DO, type="primary")
        if pressed:
            with frame.errors():
                _mend(store, visit, (typed_day, typed_hour), code, by)
        _side(visit)
        st.divider()
        _removal(store, visit)


def _mend(store: Store, visit: Visit, typed: tuple[str, str], code: str, by: str) -> None:
    taken = None if typed == dates.as_typed(visit.taken) else dates.typed_time(*typed)
    if taken is None and typed != dates.as_typed(visit.taken):
        st.error(text.DAY_WRONG)
        return
    store.mend_visit(visit.id, taken=taken, client=code, by=by, seen=visit.state)
    mended = store.load_visit(visit.id)
    if mended == visit:
        st.info(text.MEND_NOTHING)
        return
    chooser.remember(mended.client)
    state.flash(text.MENDED.format(visit.id, plain(mended.client)))
    st.rerun()


def _side(visit: Visit) -> None:
    """Draw the way to the other side: the limb is measured again, for what is usual differs between sides."""
    other = visit.side.other
    limb = shown(f"{other} {visit.limb}")
    st.caption(text.MEND_SIDE_WHY)
    if not st.button(text.MEND_SIDE.format(limb), key=f"side-{visit.id}", icon=":material/swap_horiz:"):
        return
    with frame.errors():
        with frame.steps() as tell:
            tell(text.STEP_OPENING)
            draft = saving.reopened(visit.id)
            draft.write(draft.read().model_copy(update={"side": other}))
        state.open_draft(draft)
        frame.go_to("visit")


def _removal(store: Store, visit: Visit) -> None:
    st.markdown(text.REMOVE_LEAD)
    number = str(int(visit.id))
    left, right = st.columns(2)
    again = left.text_input(text.REMOVE_CONFIRM.format(number), key=f"remove-{number}", max_chars=10)
    by = right.text_input(text.REMOVED_BY, key=f"removed-by-{number}", max_chars=20)
    if not st.button(text.REMOVE_DO.format(number), disabled=again.strip() != number, key="remove-visit"):
        return
    with frame.errors():
        proof = store.remove_visit(visit.id, by=by, seen=visit.state)
        drop.forgotten()
        st.query_params.pop("visit", None)
        rows = sum(proof.rows.values())
        state.flash(text.REMOVED.format(number, plain(proof.client), proof.photographs, rows))
        st.rerun()


def history(lines: Sequence[HistoryLine], *, named: bool = False) -> None:
    """Draw what was mended and removed, newest first; with code and visit where that is not plain."""
    for line in reversed(lines):
        st.markdown(f"- {present.history_words(line, named=named)}")
