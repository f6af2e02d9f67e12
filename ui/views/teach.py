"""Teach: one large limb through the weeks, in plain words, to show and to take away."""

from __future__ import annotations

import streamlit as st

from digitise.care.change.compare import Change
from digitise.record.store import Store
from digitise.words.numbers import long_day
from ui import care, changes, present_care, state
from ui.changes import Coloured
from ui.components import chooser, frame, safety
from ui.components.chooser import Kept
from ui.components.result import SCENE
from ui.plain import plain
from ui.spoken import text


def main() -> None:
    """Draw the page."""
    frame.head(text.TEACH_TITLE, text.TEACH_LEAD)
    state.draft()
    with frame.errors():
        shown = st.toggle(text.TEACH_CODES, key="codes")
        with Store() as store:
            # with nothing to choose from, what is to be done must not hide in a closed box
            box = st.expander(text.TEACH_WHOSE, expanded=shown) if store.list_clients() else st.container()
            with box:
                visits = chooser.limb_visits(store, address=False)
            if visits:
                safety.urgent_alone(store, visits[-1].line)
        if len(visits) == 1:
            st.info(text.ONE_VISIT)
        elif visits:
            _through_the_weeks(visits, shown)
    frame.foot()


def _through_the_weeks(visits: tuple[Kept, ...], shown: bool) -> None:
    first = visits[0]
    days = [(kept.line.taken - first.line.taken).total_seconds() / 86400 for kept in visits]
    titles = _distinct([present_care.since_start(day) for day in days])
    with frame.steps() as tell:
        all_changes = [None, *(care.change_between(first.model, kept.model, tell) for kept in visits[1:])]
    surfaces = [care.unchanged(first.model.limb), *(care.coloured(c) for c in all_changes if c is not None)]
    words = [present_care.plain_change(None if c is None else c.whole) for c in all_changes]
    key = state.spoken(f"week-{first.line.client}-{first.line.side}")
    state.session().setdefault(key, len(titles) - 1)
    number = int(
        st.select_slider(text.TEACH_WEEK, range(len(titles)), format_func=titles.__getitem__, key=key)
    )
    title = titles[number]
    if shown:
        title += f" · {plain(first.line.client)}, {long_day(visits[number].line.taken)}"
    st.markdown(f"## {title}\n\n{words[number]}")
    st.plotly_chart(
        changes.one_limb(surfaces[number], changes.reach_of(surfaces), frame.ink(), 640, state.unit()),
        key="teach",
        config=SCENE,
        theme=None,
        alt=text.TEACH_ALT,
    )
    st.caption(text.CHANGE_LEGEND_SIDES)
    _take_away(all_changes[number], surfaces, titles, words)


def _distinct(titles: list[str]) -> list[str]:
    """Return the titles with those numbered that come more than once: a slider needs different ones."""
    return [
        f"{title} ({titles[: n + 1].count(title)})" if titles.count(title) > 1 else title
        for n, title in enumerate(titles)
    ]


def _take_away(change: Change | None, surfaces: list[Coloured], titles: list[str], words: list[str]) -> None:
    if not st.toggle(text.TEACH_MAKE, key="take"):
        return
    left, right = st.columns(2)
    with left:
        if change is not None:
            with frame.steps() as tell:
                tell(text.STEP_PICTURE)
                still = care.change_still(change)
            st.download_button(
                text.TEACH_STILL, still, "limb.png", "image/png", icon=":material/image:", on_click="ignore"
            )
    right.download_button(
        text.TEACH_HTML,
        changes.page_to_take_away(surfaces, titles, words, state.unit()),
        "limb.html",
        "text/html",
        icon=":material/public:",
        on_click="ignore",
    )


frame.page(main)
