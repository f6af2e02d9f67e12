"""What was taped on foot or hand: taken in, shown, and put beside the measured limb."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import streamlit as st

from digitise.anatomy import LimbKind
from digitise.errors import TapeError
from digitise.output.model.measured import Measured
from digitise.tape.places import Place, check_places, is_length, place_words, places_of
from digitise.tape.rows import PlaceGirth
from digitise.words import shown
from ui import state, typed
from ui.inputs import Inputs, PlaceRow
from ui.lengths import Unit
from ui.plain import plain
from ui.spoken import text


def put(rows: Sequence[PlaceGirth]) -> None:
    """Take readings in, each in the place of an earlier one of its name."""
    now = {row.place: row for row in _rows(_kept())}
    now.update({row.place: row for row in rows})
    state.put("places", as_inputs(now.values()))


def as_inputs(rows: Iterable[PlaceGirth]) -> tuple[PlaceRow, ...]:
    """Return readings as a draft keeps them."""
    return tuple((row.place, row.girth_mm, row.line, row.height_mm) for row in rows)


def _kept() -> tuple[PlaceRow, ...]:
    """Return what stands there: what was taken in since the draft was opened, or what it holds."""
    changed = state.value("places")
    return (state.base() or Inputs()).places if changed is None else changed


def _rows(kept: Sequence[PlaceRow]) -> tuple[PlaceGirth, ...]:
    return tuple(PlaceGirth(*row) for row in kept)


def beside(measured: Measured, inputs: Inputs) -> Measured:
    """Return the measured limb with what was taped on its foot or hand; its shape stays as it is."""
    return replace(measured, places=known(inputs))


def known(inputs: Inputs) -> tuple[PlaceGirth, ...]:
    """Return what was taped on the foot or hand of this limb."""
    names = {place.name for place in places_of(inputs.limb or LimbKind.LEG)}
    return tuple(row for row in _rows(inputs.places) if row.place in names)


def table(inputs: Inputs, unit: Unit) -> None:
    """Draw what was taped on foot or hand, and the fields that add to it."""
    if inputs.limb is None:
        return
    rows = _rows(inputs.places)
    with st.expander(text.ENDS[inputs.limb], expanded=bool(rows)):
        st.caption(text.ENDS_LEAD)
        for row in rows:
            _row(row, unit)
        try:
            check_places(rows, inputs.limb)
        except TapeError as error:
            st.warning(plain(unit.sentence(f"{error.what} {error.do}")))
        taped = {row.place for row in rows}
        _add([place for place in places_of(inputs.limb) if place.name not in taped], unit)


def _row(row: PlaceGirth, unit: Unit) -> None:
    words = shown(place_words(row.place))
    with st.container(horizontal=True, vertical_alignment="center", gap="small"):
        st.markdown(f"{words[0].upper()}{words[1:]}: **{unit.words(row.girth_mm)}**", width="stretch")
        st.button(
            text.END_REMOVE.format(words),
            key=state.widget(f"place_remove-{row.place}"),
            icon=":material/close:",
            type="tertiary",
            on_click=_remove,
            args=(row.place,),
        )


def _remove(name: str) -> None:
    state.put("places", tuple(row for row in _kept() if row[0] != name))


def _add(left: Sequence[Place], unit: Unit) -> None:
    if not left:
        return
    by_name = {place.name: place for place in left}
    words = {name: shown(place_words(name)) for name in by_name}
    with st.form(state.widget("place_form"), clear_on_submit=True, border=False):
        name = st.selectbox(
            text.END_PLACE, list(words), format_func=words.__getitem__, key=state.widget("place")
        )
        place = by_name[name]
        read = st.text_input(text.END_READ.format(unit.name), key=state.widget("place_read"), max_chars=20)
        pressed = st.form_submit_button(text.END_ADD)
    st.caption(shown(f"{place_words(place.name).capitalize()}: {place.where}."))
    if not pressed:
        return
    trouble = _trouble(read.strip(), place, unit)
    if trouble:
        st.warning(plain(trouble))
        return
    put([PlaceGirth(place.name, typed.mm_of(read.strip(), unit))])
    st.rerun()


def _trouble(cell: str, place: Place, unit: Unit) -> str:
    """Return why a reading cannot be used; empty when it can."""
    if typed.NUMBER.fullmatch(cell) is None:
        return text.ROW_NO_NUMBER.format(cell)
    if not place.low <= typed.mm_of(cell, unit) <= place.high:
        words = text.END_LENGTH if is_length(place.name) else text.ROW_GIRTH_OUTSIDE
        return words.format(unit.number(place.low, 0), unit.words(place.high, 0))
    return ""
