"""The frame: page settings, the passphrase, and the pages in the order of the work."""

from __future__ import annotations

import importlib
import threading
from pathlib import Path

import streamlit as st

from ui.components import frame
from ui.draft import remove_old
from ui.spoken import text

# not "pages": Streamlit would serve the scripts of such a folder by themselves, past this frame and its gate
PAGES = Path(__file__).parent / "views"


@st.cache_resource
def tidy() -> None:
    """Remove old drafts once when the server starts."""
    remove_old()


@st.cache_resource
def warm_up() -> None:
    """Load, once the first page is drawn, what the pages after it need."""
    threading.Thread(target=importlib.import_module, args=("ui.care",), daemon=True).start()


def page(name: str, title: str, icon: str, default: bool = False) -> st.Page:
    """Return a page by its script's name."""
    return st.Page(
        PAGES / f"{name}.py", title=title, icon=f":material/{icon}:", url_path=name, default=default
    )


st.set_page_config(page_title=text.APP, page_icon=str(PAGES.with_name("icon.svg")), layout="wide")
tidy()
if frame.passed_gate():
    st.navigation(
        [
            page("setup", text.PAGE_SETUP, "print"),
            page("visit", text.PAGE_VISIT, "add_a_photo", default=True),
            page("weeks", text.PAGE_WEEKS, "trending_down"),
            page("padding", text.PAGE_PADDING, "layers"),
            page("teach", text.PAGE_TEACH, "school"),
            page("records", text.PAGE_RECORDS, "folder_open"),
        ],
        position="top",
    ).run()
    warm_up()
