"""What every page shares: head, caution, errors, progress, the gate."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from digitise.errors import DigitiseError, FieldError, LensError, SheetError
from digitise.words import language, languages, remark, shown
from ui import palette, state
from ui.gate import GATE
from ui.keys import keys
from ui.lengths import UNITS
from ui.palette import Ink
from ui.plain import plain
from ui.spoken import text

_progress: ContextVar[DeltaGenerator | None] = ContextVar("progress", default=None)

# of what is printed and of files, both of which are in millimetres
_OF_PRINT = (FieldError, LensError, SheetError)
# each by its own name, whatever is spoken
LANGUAGES = {"en": "English", "de": "Deutsch"}
_HERE = Path(__file__).parent
_STYLE = (_HERE / "page.css").read_text(encoding="utf-8")


def head(title: str, lead: str) -> None:
    """Draw the page's title with one sentence below it."""
    _progress.set(None)
    colours = ink()
    style = _STYLE.replace("GROUND", colours.ground).replace("BORDER", colours.faint)
    # as a string of a style sheet
    style = style.replace("WORKING", json.dumps(text.WORKING, ensure_ascii=False))
    with st.container(key="style"):
        st.html(f"<style>{style}</style>")
    with st.container(key="browser", height="content"):
        _browser(
            key="browser-part", data={"words": {**text.LIMB_VIEW, **_key_words()}, "language": language()}
        )
    st.title(title, anchor=False)
    st.markdown(lead)


def _key_words() -> dict[str, object]:
    return {
        "keys": keys(),
        "keysTitle": text.KEYS_TITLE,
        "keysOn": text.KEYS_ON,
        "keysClose": text.KEYS_CLOSE,
    }


def foot(unit: bool = True) -> None:
    """Draw the caution that stands on every page, and the choice of the unit of length."""
    st.divider()
    if unit:
        name = st.segmented_control(
            text.UNIT_ALL, list(UNITS), default=state.unit().name, required=True, key="unit-all"
        )
        if name and name != state.unit().name:
            state.set_unit(UNITS[name])
            st.rerun()
    _language()
    st.markdown(f":small[{text.FOOTER}]")
    st.markdown(f":small[{text.KEYS_HINT}]")


def _language() -> None:
    """Draw the choice of the language, and what there is to know of the one that is spoken."""
    spoken = language()
    chosen = st.segmented_control(
        text.LANGUAGE,
        [one for one in languages() if one in LANGUAGES],
        format_func=LANGUAGES.__getitem__,
        default=spoken,
        required=True,
        key="language-all",
    )
    if chosen and chosen != spoken:
        state.set_language(chosen)
        st.rerun()
    if remark():
        st.markdown(f":small[{remark()}]")


_browser = st.components.v2.component(
    "page", html="<span hidden></span>", js=(_HERE / "page.js").read_text(encoding="utf-8")
)


def page(main: Callable[[], None]) -> None:
    """Draw a page; an error of ours that nothing nearer has caught is shown as such."""
    with errors():
        main()


def status_bar() -> DeltaGenerator:
    """Draw the bar that stays at the foot of the window, and return what its status goes into.

    From now on what takes time is told there too.
    """
    bar = st.container(key="status")
    _progress.set(bar.empty())
    return bar.container()


def tell_flash() -> None:
    """Draw the message that was left for this run, with the way back where there is one."""
    left = state.flashed()
    if left is None:
        return
    st.success(left.words, icon=":material/check_circle:")
    if left.undo is not None and st.button(text.UNDO, icon=":material/undo:", key="undo-cleared"):
        with errors():
            left.undo.write(left.undo.read().model_copy(update={"cleared": False}))
        state.open_draft(left.undo)
        state.drop_flash()
        st.rerun()


@contextmanager
def errors() -> Iterator[None]:
    """Show an error that the user can put right, and go on with the page."""
    try:
        yield
    except DigitiseError as error:
        show_error(error)


def show_error(error: DigitiseError) -> None:
    """Draw an error: what, where, what to do."""
    read = shown if isinstance(error, _OF_PRINT) else state.unit().sentence
    said, advice = read(error.what), read(error.do)
    where = f"{plain(shown(error.where))}: " if error.where else ""
    what, do = plain(said[:1].upper() + said[1:]), text.ERROR_DO.format(plain(advice)) if advice else ""
    st.error("\n\n".join(filter(None, (where + what, do))))


@contextmanager
def steps() -> Iterator[Callable[[str], None]]:
    """Give a function that shows what is being done; what it showed goes when the block ends."""
    place = _progress.get() or st.empty()

    def tell(words: str) -> None:
        place.info(f"{shown(words)} …", icon=":material/hourglass_top:")

    try:
        yield tell
    finally:
        place.empty()


def go_to(page: str, **address: str) -> None:
    """Go to a page by its script's name, with what its address shall tell."""
    st.switch_page(f"views/{page}.py", query_params=address)


def nothing_saved() -> None:
    """Say that the records are empty, and lead to the page that fills them."""
    st.info(text.NO_RECORDS)
    if st.button(text.NO_RECORDS_GO, type="primary", icon=":material/add_a_photo:"):
        go_to("visit")


def ink() -> Ink:
    """Return the colours for the theme the browser shows."""
    return palette.ink(getattr(st.context.theme, "type", None))


def passed_gate() -> bool:
    """Ask for the passphrase when the server has one; tell whether the pages may be shown."""
    if GATE.is_open or state.session().get("passed"):
        return True
    head(text.GATE_TITLE, text.APP)
    with st.form("gate"):
        offered = st.text_input(text.GATE_LABEL, type="password")
        entered = st.form_submit_button(text.GATE_ENTER, type="primary")
    if entered and GATE.try_passphrase(offered):
        state.session()["passed"] = True
        st.rerun()
    if GATE.locked_s:
        st.error(text.GATE_LOCKED.format(math.ceil(GATE.locked_s / 60)))
    elif entered:
        st.error(text.GATE_WRONG)
    return False
