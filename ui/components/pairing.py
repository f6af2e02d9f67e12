"""The way from the phone: a code to scan, how long it holds, and what came."""

from __future__ import annotations

import html
import os

import segno
import streamlit as st

from ui import state
from ui.components import arrivals, frame
from ui.draft import Draft
from ui.pairing.listening import Door, close_door, door_of, open_door
from ui.pairing.networks import Near, own_networks
from ui.spoken import text

VARIABLE = "DIGITISE_UI_PAIR"
"""``1`` shows the code when the first visit is opened, ``0`` does not offer it."""

_DRAFT = "pairing_draft"
_wanted_at_once = [os.environ.get(VARIABLE) == "1"]


def draw(draft: Draft) -> None:
    """Draw the way from the phone, and take over what came by it."""
    if os.environ.get(VARIABLE) == "0":
        return
    name = draft.folder.name
    door = door_of(name)
    if door is None:
        _offer(name)
    else:
        _take_over(door)
        _live(name)


def keep_to(draft: Draft, is_open: bool) -> None:
    """Close the door that this tab opened when its visit is saved or another one is entered.

    Parameters
    ----------
    draft
        The visit that is entered now.
    is_open
        Whether it can still be changed.
    """
    opened = state.session().get(_DRAFT)
    if opened is not None and (opened != draft.folder.name or not is_open):
        close_door(opened)
        del state.session()[_DRAFT]


def _offer(name: str) -> None:
    networks = own_networks()
    # once, for the first visit that is opened
    at_once = _wanted_at_once[0]
    _wanted_at_once[0] = False
    with st.container(key="pair"):
        chosen = _network(networks)
        pressed = st.button(
            text.PAIR if state.session().get(_DRAFT) != name else text.PAIR_AGAIN,
            key=state.widget("pair"),
            icon=":material/qr_code_2:",
            help=text.PAIR_WHAT,
        )
        if not pressed and not at_once:
            return
        if chosen is None:
            st.warning(text.PAIR_NO_NETWORK)
            st.markdown(f":small[{text.PAIR_OTHER_WAYS}]")
            return
        with frame.errors():
            state.session()[_DRAFT] = name
            state.put("pair_came", 0)
            open_door(name, chosen)
            st.rerun()


def _network(networks: tuple[Near, ...]) -> Near | None:
    """Return the network to listen on; a person chooses among several."""
    if len(networks) < 2:
        return networks[0] if networks else None
    return st.selectbox(
        text.PAIR_NETWORK,
        networks,
        format_func=lambda near: f"{near.address} ({near.name})",
        key=state.widget("pair_network"),
    )


def _take_over(door: Door) -> None:
    """Note names and dates of what came since this tab last looked; the files are in the visit already."""
    came = door.pairing.arrived
    for one in came[state.value("pair_came") or 0 :]:
        arrivals.note(one.file, one.name, one.taken)
    state.put("pair_came", len(came))


@st.fragment(run_every=1.0)
def _live(name: str) -> None:
    """Draw the code and what came by it; the whole page follows when there is something new."""
    door = door_of(name)
    # looking at photographs takes seconds: not while the next one is on its way
    if door is None or (door.pairing.is_quiet and len(door.pairing.arrived) != state.value("pair_came")):
        st.rerun()
        return
    with st.container(key="pair-open", border=True):
        st.markdown(text.PAIR_WHAT)
        if not door.pairing.is_claimed:
            st.markdown(text.PAIR_SCAN)
            st.html(_code(door.address))
            st.markdown(f":small[{text.PAIR_OTHER_WAYS}]")
        minutes, seconds = divmod(round(door.pairing.left_s), 60)
        came = len(door.pairing.arrived)
        lines = [text.PAIR_CLAIMED] if door.pairing.is_claimed else []
        lines += [text.PAIR_CAME_ONE if came == 1 else text.PAIR_CAME.format(came)] if came else []
        st.markdown(" ".join([*lines, text.PAIR_LEFT.format(minutes, seconds)]))
        if st.button(text.PAIR_END, key=state.widget("pair_end"), icon=":material/close:"):
            close_door(name)
            st.rerun()


def _code(address: str) -> str:
    """Return the picture of an address as a phone's camera reads it: black on white in every theme."""
    code = segno.make(address, error="m", micro=False)
    picture = html.escape(code.svg_data_uri(scale=5, border=4, dark="#000", light="#fff"))
    return f'<img class="pair-code" alt="{text.PAIR_QR_ALT}" src="{picture}">'
