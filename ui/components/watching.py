"""New pictures in a folder appear in the open visit."""

from __future__ import annotations

import streamlit as st

from ui import state
from ui.components import arrivals, frame
from ui.draft import MOST_PHOTOS, Draft
from ui.plain import plain
from ui.spoken import text
from ui.watching import Found, watched

_WATCH = watched()


def draw(draft: Draft) -> None:
    """Take in what is new in the folder, ask about what may be of another client, and go on looking."""
    if _WATCH is None:
        return
    name = draft.folder.name
    with frame.errors():
        _WATCH.turn_to(name)
        for found in _WATCH.take(name):
            if found.is_older:
                state.put("older", [*(state.value("older") or []), found])
            else:
                _keep(draft, found)
        with st.container(key="watch"):
            st.markdown(f":small[{text.WATCH_LINE.format(plain(_WATCH.folder.name or str(_WATCH.folder)))}]")
            _ask_about_older(draft)
    _look(name)


def _keep(draft: Draft, found: Found) -> None:
    with frame.errors():
        if len(draft.photos) >= MOST_PHOTOS:
            st.warning(text.TOO_MANY_PHOTOS)
            return
        path = draft.add_photo(found.data, found.path.name)
        arrivals.note(path.name, found.path.name, found.taken)


def _ask_about_older(draft: Draft) -> None:
    older: list[Found] = state.value("older") or []
    if not older:
        return
    st.warning(text.WATCH_OLDER.format(", ".join(plain(found.path.name) for found in older)))
    if st.button(text.WATCH_TAKE, key=state.widget("older_take"), icon=":material/add_a_photo:"):
        state.put("older", [])
        for found in older:
            _keep(draft, found)
        st.rerun()


@st.fragment(run_every=1.0)
def _look(name: str) -> None:
    """Look again each second; the whole page follows when there is something new."""
    with frame.errors():
        if _WATCH is not None and _WATCH.has_new(name):
            st.rerun()
