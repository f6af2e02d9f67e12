"""Sizes of paper that people print on: A4 by ISO 216, letter by ANSI Y14.1."""

from __future__ import annotations

from typing import Literal

PageName = Literal["a4", "letter"]
Paper = Literal["a4", "letter", "roll"]
PAGE_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height of an upright page."""
