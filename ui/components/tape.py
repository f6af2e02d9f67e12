"""The tape rows: typed, checked, and compared with the photographs row by row."""

from __future__ import annotations

import streamlit as st

from digitise.shape.taped import TapeCheck
from ui import present, state, text, work
from ui.draft import Inputs
from ui.present import TypedRow, TypedTape

FEWEST_ROWS = 5


def typed_rows(inputs: Inputs) -> tuple[TypedRow, ...]:
    """Return the rows as they are typed now, also before they are drawn in this run."""
    kept = _kept(inputs)
    version = state.value("rows_version") or 0
    return tuple(
        tuple(
            state.session().get(state.widget(f"{name}-{version}-{index}"), kept_value)
            for name, kept_value in zip(("height", "girth"), row, strict=True)
        )
        for index, row in enumerate(kept)
    )


def _kept(inputs: Inputs) -> list[TypedRow]:
    if state.value("rows") is None:
        state.put("rows", list(inputs.rows) or [(None, None)] * FEWEST_ROWS)
    rows: list[TypedRow] = list(state.value("rows"))
    return rows


def offer_heights(inputs: Inputs) -> None:
    """Fill in the heights of the limb's last visit, once, while nothing is typed."""
    if not inputs.client.strip() or inputs.limb is None or inputs.side is None:
        return
    limb = (inputs.client.strip().upper(), inputs.limb, inputs.side)
    if state.value("offered") == limb:
        return
    state.put("offered", limb)
    typed = typed_rows(inputs)
    untouched = state.value("heights_offered") and all(girth is None for _, girth in typed)
    if not untouched and any(value is not None for row in typed for value in row):
        return
    heights = work.heights_of_last_visit(*limb)
    if heights or untouched:
        factor = 1.0 if inputs.unit == "mm" else 10.0
        rows: list[TypedRow] = [(height / factor, None) for height in heights]
        state.put("rows", rows or [(None, None)] * FEWEST_ROWS)
        state.put("rows_version", (state.value("rows_version") or 0) + 1)
        state.put("heights_offered", bool(rows))


def head(inputs: Inputs) -> str:
    """Draw the title and the choice of the unit, and return the unit."""
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    with left:
        st.subheader(text.TAPE_HEAD, anchor=False)
    with right:
        before = inputs.unit
        unit = st.segmented_control(
            text.UNIT,
            ["cm", "mm"],
            key=state.seed("unit", inputs.unit),
            required=True,
            label_visibility="collapsed",
        )
    if unit and unit != before:
        rows = typed_rows(inputs)
        state.put("rows", list(present.converted(rows, before, unit)))
        state.put("rows_version", (state.value("rows_version") or 0) + 1)
    st.caption(text.HEIGHTS_FROM_LAST if state.value("heights_offered") else text.TAPE_LEAD)
    return str(unit)


def table(inputs: Inputs, unit: str, tape: TypedTape, checks: tuple[TapeCheck, ...]) -> None:
    """Draw the rows with what is to be said of each beside it."""
    rows = _kept(inputs)
    version = state.value("rows_version") or 0
    beside = present.row_words(tape, checks, unit, len(rows))
    with st.container(key="tape"):
        _line(text.COLUMN_HEIGHT.format(unit), text.COLUMN_GIRTH.format(unit), text.COLUMN_CHECK)
        for index, row in enumerate(rows):
            with st.container(horizontal=True, vertical_alignment="center", gap="small"):
                for name, label, kept in zip(
                    ("height", "girth"), (text.ROW_HEIGHT, text.ROW_GIRTH), row, strict=True
                ):
                    key = state.seed(f"{name}-{version}-{index}", kept)
                    st.number_input(
                        label.format(unit, index + 1),
                        key=key,
                        format="%.10g",
                        label_visibility="collapsed",
                        width=96,
                        step=1.0,
                    )
                words = beside[index]
                st.markdown(
                    f"**{words.sign}** :small[{words.words}]" if words.sign else "&nbsp;", width="stretch"
                )
    if st.button(text.ROW_ADD, key=state.widget("row_add"), icon=":material/add:", type="tertiary"):
        state.put("rows", [*typed_rows(inputs), (None, None)])
        st.rerun()


def _line(*words: str) -> None:
    with st.container(horizontal=True, gap="small"):
        st.markdown(f":small[{words[0]}]", width=96)
        st.markdown(f":small[{words[1]}]", width=96)
        st.markdown(f":small[{words[2]}]", width="stretch")
