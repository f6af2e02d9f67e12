"""The client, the limb, and whether compression is cleared."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

import streamlit as st

from digitise.anatomy import LimbKind
from digitise.errors import DigitiseError
from digitise.record.check import client_code
from digitise.record.store import Store
from digitise.words import shown
from digitise.words.numbers import long_day
from ui import dates, state
from ui.components import safety
from ui.inputs import Inputs
from ui.plain import plain
from ui.spoken import text

_Word = TypeVar("_Word", bound=str)


def client_and_limb(inputs: Inputs) -> None:
    """Draw who is measured."""
    _dated()
    st.subheader(text.CLIENT_HEAD, anchor=False)
    code = st.text_input(
        text.CLIENT_CODE,
        key=state.seed("client", inputs.client),
        help=text.CLIENT_CODE_HELP,
        max_chars=20,
        disabled=inputs.changes is not None,
    )
    if code.strip() and inputs.changes is None:
        _known(code)
    if code.strip():
        safety.of_earlier_visits(code)
    left, right = st.columns(2)
    with left:
        _choice(text.LIMB, "limb", text.LIMBS, inputs.limb)
    with right:
        _choice(text.SIDE, "side", text.SIDES, inputs.side)
    limb = state.value("limb")
    if limb:
        _choice(text.LIES, "lies", text.LIES_NAMES[limb], inputs.lies)
    if limb == LimbKind.LEG and state.value("lies") == "both-feet":
        st.caption(text.BOTH_FEET_LEAD)
    if (limb == LimbKind.ARM and not state.value("lies")) or inputs.has_axis:
        _axis(inputs)
    _choice(text.CLEARANCE, "clearance", text.CLEARANCES, inputs.clearance)
    if state.value("clearance") in ("no", "not-asked"):
        st.warning(text.CLEARANCE_OPEN)
    _flags(inputs)
    with st.expander(text.MORE):
        _choice(text.POSTURE, "posture", text.POSTURES, inputs.posture)
        st.text_input(text.MEASURED_BY, key=state.seed("measured_by", inputs.measured_by), max_chars=20)
        st.text_input(text.CLEARED_BY, key=state.seed("clearance_by", inputs.clearance_by), max_chars=20)
        left, right = st.columns(2)
        left.text_input(text.DAY, key=state.seed("day", inputs.day), placeholder=text.DAY_NOW, max_chars=10)
        right.text_input(
            text.HOUR, key=state.seed("hour", inputs.hour), placeholder=text.DAY_NOW, max_chars=5
        )
        if not dates.is_sound(state.value("day"), state.value("hour")):
            st.warning(text.DAY_WRONG)
        st.text_area(text.NOTE, key=state.seed("note", inputs.note), max_chars=4000)


def _dated() -> None:
    """Put the date that late photographs tell into its fields, and say so."""
    late = state.value("late")
    if late:
        state.put("late", None)
        state.put("day", late[0])
        state.put("hour", late[1])
        state.put("dated", late)
    dated = state.value("dated")
    if dated and dated == (state.value("day"), state.value("hour")):
        st.info(text.DAY_OF_PHOTOS.format(" ".join(dated), text.MORE), icon=":material/event:")


def _choice(label: str, name: str, options: Mapping[_Word, str], kept: _Word | None) -> None:
    st.segmented_control(
        label, list(options), format_func=options.__getitem__, key=state.seed(name, kept), width="stretch"
    )


def _axis(inputs: Inputs) -> None:
    with st.expander(text.AXIS, expanded=inputs.has_axis):
        st.markdown(text.AXIS_LEAD)
        for start, point in zip((0, 3), text.AXIS_POINTS, strict=True):
            st.markdown(f"**{point}**")
            with st.container(horizontal=True, gap="small"):
                for number, name in zip(range(start, start + 3), "xyz", strict=True):
                    st.number_input(
                        text.AXIS_NUMBER.format(name),
                        key=state.seed(f"axis-{number}", inputs.axis[number]),
                        format="%.10g",
                        step=1.0,
                        width=88,
                    )


def _flags(inputs: Inputs) -> None:
    kept = None if inputs.flags is None else list(inputs.flags or (text.NO_FLAG,))
    chosen = st.pills(
        text.FLAGS,
        list(text.FLAG_NAMES),
        format_func=text.FLAG_NAMES.__getitem__,
        selection_mode="multi",
        wrap=True,
        key=state.seed("flags", kept or []),
        on_change=_none_or_some,
    )
    state.put("flags_before", tuple(chosen))
    safety.signs_today(tuple(flag for flag in chosen if flag != text.NO_FLAG))


def _none_or_some() -> None:
    """Keep "none of these" and any of them from being chosen together: the later choice counts."""
    chosen: list[str] = list(state.value("flags") or [])
    before = state.value("flags_before") or ()
    if text.NO_FLAG in chosen and len(chosen) > 1:
        later_is_none = text.NO_FLAG not in before
        state.put(
            "flags", [text.NO_FLAG] if later_is_none else [one for one in chosen if one != text.NO_FLAG]
        )


def _known(code: str) -> None:
    """Say how many visits a client has, or why the code cannot be one."""
    try:
        spelt = client_code(code)
        with Store() as store:
            known = [client for client in store.list_clients() if client.code == spelt]
    except DigitiseError as error:
        st.warning(plain(shown(f"{error.what} {error.do}")))
        return
    for client in known:
        day = long_day(client.last.astimezone())
        words = text.CLIENT_KNOWN_ONE if client.visits == 1 else text.CLIENT_KNOWN
        st.caption(words.format(day) if client.visits == 1 else words.format(client.visits, day))
