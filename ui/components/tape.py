"""The tape rows: typed, checked, and compared with the photographs row by row."""

from __future__ import annotations

import streamlit as st

from digitise.shape.taped import TapeCheck
from ui import present, state, stored, typed
from ui.inputs import MOST_ROWS, Inputs, Rows
from ui.lengths import UNITS, Unit
from ui.plain import plain
from ui.spoken import text
from ui.typed import TypedTape

FEWEST_ROWS = 5
_EMPTY = ("", "")
_CELLS = ("height", "girth")


def typed_rows(inputs: Inputs) -> Rows:
    """Return the rows as they are typed now, also before they are drawn in this run."""
    rows = []
    for index, kept in enumerate(_kept(inputs)):
        cells = [
            str(state.session().get(_key(name, index), cell) or "")
            for name, cell in zip(_CELLS, kept, strict=True)
        ]
        rows.append((cells[0], cells[1]))
    return tuple(rows)


def show_rows(rows: Rows) -> None:
    """Put rows into the table in place of those that stand there; only before it is drawn."""
    state.put("rows", list(rows))
    state.put("rows_version", (state.value("rows_version") or 0) + 1)


def _key(name: str, index: int) -> str:
    return state.widget(f"{name}-{state.value('rows_version') or 0}-{index}")


def _kept(inputs: Inputs) -> Rows:
    if state.value("rows") is None:
        state.put("rows", list(inputs.rows) or [_EMPTY] * FEWEST_ROWS)
    return tuple(state.value("rows"))


def offer_heights(inputs: Inputs) -> None:
    """Fill in the heights of the limb's last visit, once, while nothing is typed."""
    if not inputs.client.strip() or inputs.limb is None or inputs.side is None:
        return
    limb = (inputs.client.strip().upper(), inputs.limb, inputs.side)
    if state.value("offered") == limb:
        return
    state.put("offered", limb)
    rows = typed_rows(inputs)
    untouched = state.value("heights_offered") and not any(girth for _, girth in rows)
    if not untouched and any(cell for row in rows for cell in row):
        return
    heights = stored.heights_of_last_visit(*limb)
    if heights or untouched:
        unit = UNITS[inputs.unit]
        show_rows(tuple((typed.as_typed(height, unit), "") for height in heights) or (_EMPTY,) * FEWEST_ROWS)
        state.put("heights_offered", bool(heights))


def head(inputs: Inputs) -> Unit:
    """Draw the title and the choice of the unit, and return the unit."""
    left, right = st.columns([3, 2], vertical_alignment="bottom")
    with left:
        st.subheader(text.TAPE_HEAD, anchor=False)
    before = UNITS[inputs.unit]
    with right:
        chosen = st.segmented_control(
            text.UNIT,
            list(UNITS),
            key=state.seed("unit", inputs.unit),
            required=True,
            label_visibility="collapsed",
        )
    unit = UNITS[chosen or before.name]
    state.set_unit(unit)
    rows = typed_rows(inputs)
    if unit != before and state.value("heights_offered") and not any(girth for _, girth in rows):
        show_rows(typed.converted(rows, before, unit))
    elif unit != before and any(cell for row in rows for cell in row):
        state.put("typed_in", before.name)
    _offer_conversion(unit, rows)
    lead = text.TAPE_LEAD if state.value("lies") in (None, "", "both-feet") else text.TAPE_LEAD_LYING
    st.caption(text.HEIGHTS_FROM_LAST if state.value("heights_offered") else lead)
    return unit


def _offer_conversion(unit: Unit, rows: Rows) -> None:
    """Say that numbers keep their digits when the unit changes: whoever changes it mistyped them."""
    typed_in = state.value("typed_in")
    if typed_in is None or typed_in == unit.name:
        return
    with st.container(horizontal=True, vertical_alignment="center"):
        st.caption(text.UNIT_KEPT.format(text.UNIT_NAMES[unit.name]), width="stretch")
        if st.button(text.UNIT_CONVERT, key=state.widget("convert"), type="tertiary"):
            show_rows(typed.converted(rows, UNITS[typed_in], unit))
            state.put("typed_in", None)
            st.rerun()


def table(inputs: Inputs, unit: Unit, tape: TypedTape, checks: tuple[TapeCheck, ...]) -> None:
    """Draw the rows with what is to be said of each beside it."""
    rows = _kept(inputs)
    beside = present.row_words(tape, checks, unit, len(rows))
    with st.container(key="tape"):
        _line(text.COLUMN_HEIGHT.format(unit.name), text.COLUMN_GIRTH.format(unit.name), text.COLUMN_CHECK)
        for index, row in enumerate(rows):
            _row(index, row, unit, beside[index])
    if len(rows) < MOST_ROWS and st.button(
        text.ROW_ADD, key=state.widget("row_add"), icon=":material/add:", type="tertiary"
    ):
        state.put("rows", [*typed_rows(inputs), _EMPTY])
        st.rerun()


def _row(index: int, row: tuple[str, str], unit: Unit, beside: present.RowWords) -> None:
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        for name, label, kept in zip(_CELLS, (text.ROW_HEIGHT, text.ROW_GIRTH), row, strict=True):
            key = _key(name, index)
            if key not in state.session():
                state.session()[key] = kept
            st.text_input(
                label.format(unit.name, index + 1),
                key=key,
                max_chars=20,
                label_visibility="collapsed",
                width=80,
            )
        words = f"**{beside.sign}** :small[{plain(beside.words)}]" if beside.sign else "&nbsp;"
        st.markdown(words, width="stretch")
        st.button(
            text.ROW_REMOVE.format(index + 1),
            key=state.widget(f"row_remove-{index}"),
            icon=":material/close:",
            type="tertiary",
            on_click=_remove,
            args=(index,),
        )


def _remove(index: int) -> None:
    rows = list(typed_rows(Inputs()))
    del rows[index]
    show_rows(tuple(rows) or (_EMPTY,))


def _line(*words: str) -> None:
    with st.container(horizontal=True, gap="small"):
        st.markdown(f":small[{words[0]}]", width=80)
        st.markdown(f":small[{words[1]}]", width=80)
        st.markdown(f":small[{words[2]}]", width="stretch")
