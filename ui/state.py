"""All that the page remembers of one person looking at it."""

from __future__ import annotations

from collections.abc import MutableMapping
from typing import Any

import streamlit as st

from ui.draft import Draft, Inputs, draft_of, new_token

_TOKEN = "draft_token"
_ADDRESS = "visit"


def session() -> MutableMapping[str, Any]:
    """Return the session's values by name."""
    return st.session_state  # type: ignore[return-value]


def draft() -> Draft:
    """Return the visit that is being entered; its name stands in the address, so that a reload finds it."""
    token = session().get(_TOKEN) or st.query_params.get(_ADDRESS, "")
    found = draft_of(token)
    if found is None:
        token = new_token()
        found = Draft(draft_of(token).folder)  # type: ignore[union-attr]
    session()[_TOKEN] = token
    if st.query_params.get(_ADDRESS) != token:
        st.query_params[_ADDRESS] = token
    return found


def open_draft(there: Draft) -> None:
    """Go on with another draft."""
    _forget_widgets()
    session()[_TOKEN] = there.folder.name


def next_visit() -> None:
    """Begin a new, empty visit."""
    _forget_widgets()
    session()[_TOKEN] = new_token()


def widget(name: str) -> str:
    """Return the key of an input of the visit; other visits have other keys."""
    return f"visit-{session().get(_TOKEN, '')}-{name}"


def seed(name: str, value: object) -> str:
    """Give an input its kept value when the session has none, and return its key."""
    key = widget(name)
    if key not in session():
        session()[key] = value
    return key


def value(name: str) -> Any:
    """Return what an input of the visit holds now."""
    return session().get(widget(name))


def put(name: str, what: object) -> None:
    """Set an input of the visit; only before it is drawn."""
    session()[widget(name)] = what


def keep(there: Draft, inputs: Inputs) -> None:
    """Write the inputs to the disk when they differ from what is there."""
    if inputs != there.inputs:
        there.write(inputs)


def is_handled(upload_id: str) -> bool:
    """Tell whether an uploaded file was taken over, and note that it is now."""
    handled: set[str] = session().setdefault(widget("handled"), set())
    if upload_id in handled:
        return True
    handled.add(upload_id)
    return False


def flash(words: str | None = None) -> str | None:
    """Leave a message for the next run, or take it."""
    if words is None:
        left: str | None = session().pop("flash", None)
        return left
    session()["flash"] = words
    return None


def _forget_widgets() -> None:
    for key in [key for key in session() if str(key).startswith("visit-")]:
        del session()[key]
