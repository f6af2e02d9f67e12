"""Colours of our own.

Scales keep their order for every kind of colour vision and in grey: the change map runs from blue through
a light grey to brown, of which dark blue and dark brown are told apart by hue, shown and named in the legend.
"""

from __future__ import annotations

from dataclasses import dataclass

AGREES, DIFFERS, SUSPECT, NOT_SEEN = "#0072B2", "#B8620A", "#B0307A", "#7A7A7A"
CHANGE = ((0.0, "#0B3C6F"), (0.25, "#6C9CCB"), (0.5, "#D8D6CF"), (0.75, "#DE9C5A"), (1.0, "#7A3B05"))
LIMB = "#D8CAB8"
LIMB_EARLIER = "#8F8B82"  # grey: blue and brown tell of change


@dataclass(frozen=True)
class Ink:
    """Colours of lines, text and bands of a figure on a light or a dark page, and of that page."""

    ground: str
    text: str
    faint: str
    line: str
    band: str
    mark: str


LIGHT = Ink("#FBFAF6", "#1D2733", "#C9C6BC", "#0A6A6E", "rgba(10,106,110,0.22)", "#7A3B05")
DARK = Ink("#12181D", "#ECE9E1", "#47525B", "#6FD0C8", "rgba(111,208,200,0.25)", "#F0B070")


def ink(theme: str | None) -> Ink:
    """Return the colours for the page's theme, ``light`` or ``dark``."""
    return DARK if theme == "dark" else LIGHT
