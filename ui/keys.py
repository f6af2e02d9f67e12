"""Keys for the commonest steps, and what on the page each of them reaches; no Streamlit here."""

from __future__ import annotations

from ui.spoken import text

_LINK = '[data-testid="stTopNavLink"], [data-testid="stSidebarNavLink"]'
_PAGES = ("setup", "visit", "weeks", "padding", "teach", "records")
_REACHED = {
    **{str(n): f'a[href$="/{name}"]:is({_LINK})' for n, name in enumerate(_PAGES, start=1)},
    "2": f'a:is([href$="/visit"], [href$="/"]):is({_LINK})',
    "p": ".st-key-drop button",
    "t": ".st-key-tape input",
    "o": '[class*="-correct-"] button',
    "s": ".st-key-save button",
    "b": ".st-key-other-limb button",
    "n": ".st-key-next button",
}


def keys() -> list[tuple[str, str, str]]:
    """Return each key, what it does, and a CSS selector of what it reaches."""
    fields = {"k": text.CLIENT_CODE, "f": text.RECORDS_FIND}
    reached = {**_REACHED, **{key: f'input[aria-label="{label}"]' for key, label in fields.items()}}
    return [(key, words, reached[key]) for key, words in text.KEYS]
