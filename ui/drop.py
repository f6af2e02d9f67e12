"""What the page itself still holds, or could still take in, of a client or a visit that is gone."""

from __future__ import annotations

from digitise.words import sentences
from ui import both_feet, care, measuring, papers, stored, work
from ui.pairing import listening


def forgotten() -> None:
    """Drop all that is remembered, and let no phone bring more into a visit that is gone."""
    listening.close_doors()
    for module in (work, both_feet, measuring, stored, care, papers, sentences):
        module.forget_remembered()
