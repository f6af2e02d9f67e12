"""What the page itself still holds of a client or a visit that is gone."""

from __future__ import annotations

from ui import care, measuring, papers, stored, work


def forgotten() -> None:
    """Drop all that is remembered."""
    for module in (work, measuring, stored, care, papers):
        module.forget_remembered()
