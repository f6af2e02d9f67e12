"""Choosing a client's limb and its visits from the records."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from digitise.output.model.file import StoredModel
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.words.numbers import long_day, moment
from ui import state, stored
from ui.components import frame, sample
from ui.present import limb_words
from ui.spoken import text

ADDRESS, VISIT_ADDRESS = "client", "visit"


@dataclass(frozen=True)
class Kept:
    """A visit of the records with its limb."""

    line: VisitLine
    model: StoredModel


def limb_visits(store: Store, *, address: bool = True) -> tuple[Kept, ...]:
    """Ask for a client and a limb; return its measured visits, oldest first, none while there are none.

    The address names the client, but not where others look on (``address`` False).
    """
    lines = [line for line in store.list_visits() if line.has_model] if store.list_clients() else []
    if not lines:
        frame.nothing_saved()
        sample.button("none")
        return ()
    if address:
        _follow_address(lines)
    codes = list(dict.fromkeys(line.client for line in reversed(lines)))
    left, right = st.columns(2)
    client = left.selectbox(text.PICK_CLIENT, codes, key=_kept("client", codes))
    if address:
        remember(client)
    theirs = [line for line in lines if line.client == client]
    limbs = list(dict.fromkeys((line.side, line.limb) for line in reversed(theirs)))
    # the limb in treatment is the one that is measured again and again
    limbs.sort(key=lambda limb: -sum((line.side, line.limb) == limb for line in theirs))
    names = {limb: limb_words(*limb) for limb in limbs}
    chosen = right.selectbox(text.PICK_LIMB, limbs, format_func=names.__getitem__, key=_limb_key(client))
    visits = [line for line in theirs if (line.side, line.limb) == chosen]
    return tuple(Kept(line, stored.stored_model(store, line.id)) for line in visits)


def _follow_address(lines: Sequence[VisitLine]) -> None:
    """Begin with the limb of the visit that the address names, where nothing else was chosen yet."""
    line = next((one for one in lines if str(int(one.id)) == st.query_params.get(VISIT_ADDRESS)), None)
    if line is not None:
        state.session().setdefault("chosen-client", line.client)
        state.session().setdefault(_limb_key(line.client), (line.side, line.limb))


def _limb_key(client: str) -> str:
    return state.spoken(f"limb-of-{client}")


def address_visit(key: str, numbers: Sequence[int]) -> None:
    """Give a choice of visits the one that the address names, where nothing else was chosen yet."""
    named = [number for number in numbers if str(number) == st.query_params.get(VISIT_ADDRESS)]
    if named:
        state.session().setdefault(key, named[0])


def remember_visit(number: int) -> None:
    """Have the address name a visit, so that a reload finds it."""
    if st.query_params.get(VISIT_ADDRESS) != str(number):
        st.query_params[VISIT_ADDRESS] = str(number)


def other_limb(store: Store, line: VisitLine) -> Kept | None:
    """Return the visit of the opposite limb nearest in time; None when it was never measured."""
    across = [
        other
        for other in store.list_visits(line.client)
        if other.has_model and other.limb == line.limb and other.side != line.side
    ]
    near = min(across, key=lambda other: abs(other.taken - line.taken), default=None)
    return None if near is None else Kept(near, stored.stored_model(store, near.id))


def remember(client: str) -> None:
    """Have the other pages begin with a client, and the address name it, so that a reload finds it."""
    state.session()["remembered-client"] = client
    if st.query_params.get(ADDRESS) != client:
        st.query_params[ADDRESS] = client


def _kept(name: str, options: list[str]) -> str:
    """Carry the choice from page to page: a widget's own value ends with its page."""
    key, memory = f"chosen-{name}", f"remembered-{name}"
    session = state.session()
    if key in session:
        session[memory] = session[key]
        return key
    for wanted in (st.query_params.get(ADDRESS), session.get(memory)):
        if wanted in options:
            session[key] = wanted
            break
    return key


def visit_words(visits: Mapping[int, Kept]) -> Mapping[int, str]:
    """Return each visit's date, with the time where two are of one day."""
    days = [long_day(kept.line.taken) for kept in visits.values()]
    return {
        number: moment(kept.line.taken) if days.count(day) > 1 else day
        for (number, kept), day in zip(visits.items(), days, strict=True)
    }
