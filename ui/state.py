"""All that the page remembers of one person looking at it."""

from __future__ import annotations

from collections.abc import MutableMapping
from dataclasses import dataclass
from typing import Any

import streamlit as st
from streamlit.runtime.memory_uploaded_file_manager import MemoryUploadedFileManager
from streamlit.runtime.scriptrunner import get_script_run_ctx

from digitise import words
from digitise.words.language import ask
from ui.draft import Draft, draft_of, new_token
from ui.inputs import Inputs
from ui.kept import keep as keep_choice
from ui.kept import kept
from ui.lengths import UNITS, Unit, keep_unit, kept_unit

_TOKEN = "draft_token"
_ADDRESS = "draft"
_UNIT = "unit"
_LANGUAGE = "language"
_FLASH = "flash"
# inputs of the visit that are boxes of words to choose from
_BOXES = frozenset({"sheets", "place"})


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
    key = f"visit-{session().get(_TOKEN, '')}-{name}"
    return spoken(key) if name in _BOXES else key


def spoken(key: str) -> str:
    """Return the key of a box of words to choose from in the language that is spoken.

    The library keeps the words of what is chosen, which are none of the choices in another language.
    """
    return f"{key}@{words.language()}"


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


def base() -> Inputs | None:
    """Return what this tab held when it last read or kept the draft; None when it did neither yet."""
    found: Inputs | None = session().get(widget("base"))
    return found


def hold(inputs: Inputs) -> None:
    """Note what this tab holds."""
    session()[widget("base")] = inputs


def keep(there: Draft, inputs: Inputs) -> None:
    """Write what is typed in this tab to the disk, beside what another tab typed meanwhile."""
    before = base() or Inputs()
    hold(inputs)
    if inputs != before:
        there.keep(inputs, before)


def unit() -> Unit:
    """Return the unit in which people read lengths."""
    if _UNIT not in session():
        session()[_UNIT] = kept_unit().name
    return UNITS[session()[_UNIT]]


def set_unit(chosen: Unit) -> None:
    """Have lengths read in a unit from now on."""
    if session().get(_UNIT) != chosen.name:
        session()[_UNIT] = chosen.name
        keep_unit(chosen)


def language() -> str:
    """Return the language that was chosen in this tab, or last; empty when none was, and outside a page."""
    if get_script_run_ctx() is None:
        return ""
    if _LANGUAGE not in session():
        session()[_LANGUAGE] = kept(_LANGUAGE)
    found: str = session()[_LANGUAGE]
    return found


def set_language(chosen: str) -> None:
    """Have the page speak a language from now on; what is chosen in boxes of words stays chosen."""
    end = spoken("")
    before = {str(key).removesuffix(end): session()[key] for key in session() if str(key).endswith(end)}
    session()[_LANGUAGE] = chosen
    for key, value in before.items():
        session()[spoken(key)] = value
    keep_choice(_LANGUAGE, chosen)


def is_handled(upload_id: str) -> bool:
    """Tell whether an uploaded file was taken over, and note that it is now."""
    handled: set[str] = session().setdefault(widget("handled"), set())
    if upload_id in handled:
        return True
    handled.add(upload_id)
    return False


def let_go(upload_id: str) -> None:
    """Drop an uploaded file that was taken over; the library would keep it until the tab is closed."""
    context = get_script_run_ctx()
    kept = None if context is None else context.uploaded_file_mgr
    if context is not None and isinstance(kept, MemoryUploadedFileManager):
        kept.remove_file(context.session_id, upload_id)


@dataclass(frozen=True)
class Flash:
    """A message for the next run, and the draft that can be taken back."""

    words: str
    undo: Draft | None = None


def flash(words: str, undo: Draft | None = None) -> None:
    """Leave a message for the next run."""
    session()[_FLASH] = Flash(words, undo)


def flashed() -> Flash | None:
    """Return the message that was left; it stays until something else is done."""
    left: Flash | None = session().get(_FLASH)
    if left is not None and left.undo is None:
        del session()[_FLASH]
    return left


def drop_flash() -> None:
    """Drop the message that was left."""
    session().pop(_FLASH, None)


def _forget_widgets() -> None:
    for key in [key for key in session() if str(key).startswith("visit-")]:
        del session()[key]


ask(language)
