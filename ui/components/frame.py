"""What every page shares: head, caution, errors, progress, the gate."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from digitise.errors import DigitiseError
from ui import palette, state, text
from ui.gate import GATE
from ui.lengths import UNITS
from ui.palette import Ink
from ui.plain import plain

_progress: ContextVar[DeltaGenerator | None] = ContextVar("progress", default=None)

_STYLE = """
<style>
.block-container {padding-top: 4.2rem; padding-bottom: 2rem; max-width: 1320px;}
h1 {font-size: 1.9rem !important; padding-top: 0 !important;}
h2 {font-size: 1.3rem !important;}
h3, h4 {font-size: 1.1rem !important;}
/* files that came in are shown as photographs below */
.st-key-drop [data-testid="stFileChips"] > div {display: none;}
.st-key-drop [data-testid="stBaseButton-borderlessIcon"] {
  width: auto; white-space: nowrap; color: inherit;
}
.st-key-drop [data-testid="stBaseButton-borderlessIcon"]::after {content: attr(aria-label);}
.st-key-tape [data-testid="stHorizontalBlock"] {flex-wrap: nowrap;}
.st-key-tape {gap: 0.5rem;}
/* the name of a row's remover is for those who do not see its cross */
.st-key-tape button p {position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%);}
.st-key-status {
  position: fixed; left: 0; right: 0; bottom: 0; z-index: 90; padding: 0.5rem 1.2rem; gap: 0.3rem;
  background: var(--st-secondary-background-color); border-top: 1px solid var(--st-border-color);
}
.st-key-status [data-testid="stHorizontalBlock"] {flex-wrap: nowrap; gap: 0.6rem;}
.st-key-status [data-testid="stColumn"] {min-width: 0;}
.st-key-status [data-testid="stMarkdownContainer"] p {margin: 0;}
.block-container:has(.st-key-status) {padding-bottom: 8.5rem;}
.st-key-photos [data-testid="stHorizontalBlock"] {flex-wrap: nowrap;}
.st-key-photos [data-testid="stColumn"] {min-width: 0;}
/* text in full strength: faint captions and coloured letters on tinted ground fall short of AA */
[data-testid="stCaptionContainer"],
[data-testid="stCaptionContainer"] p {color: inherit !important; opacity: 1;}
[data-testid="stButtonGroup"] [data-selected], [data-testid="stButtonGroup"] button[kind$="Active"],
[data-testid="stSliderThumbValue"] {color: inherit !important;}
[data-testid="stMetricValue"] {font-variant-numeric: tabular-nums;}
@media (max-width: 640px) {
  .block-container {padding-left: 0.9rem; padding-right: 0.9rem;}
  [data-testid="stMetricValue"] {font-size: 1.6rem;}
}
</style>
"""


def head(title: str, lead: str) -> None:
    """Draw the page's title with one sentence below it."""
    _progress.set(None)
    st.html(_STYLE)
    st.title(title, anchor=False)
    st.markdown(lead)


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
    st.markdown(f":small[{text.FOOTER}]")


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
    what = error.what[:1].upper() + error.what[1:]
    where = f"{plain(error.where)}: " if error.where else ""
    do = text.ERROR_DO.format(plain(error.do)) if error.do else ""
    st.error("\n\n".join(filter(None, (where + plain(what), do))))


@contextmanager
def steps() -> Iterator[Callable[[str], None]]:
    """Give a function that shows what is being done; what it showed goes when the block ends."""
    place = _progress.get() or st.empty()

    def tell(words: str) -> None:
        place.info(f"{words} …", icon=":material/hourglass_top:")

    try:
        yield tell
    finally:
        place.empty()


def go_to(page: str) -> None:
    """Go to a page by its script's name."""
    st.switch_page(f"views/{page}.py")


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
