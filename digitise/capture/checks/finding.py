"""What a check has to say about a photograph."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "warning", "refuse"]


@dataclass(frozen=True)
class Finding:
    """One thing found in a photograph.

    Attributes
    ----------
    photo
        File name; empty when it is about all photographs together.
    code
        Stable short name of the kind of finding.
    severity
        ``note``: as it should be; ``warning``: results suffer; ``refuse``: cannot be used.
    text
        What was found, one sentence.
    do
        What to do about it; empty for notes.
    """

    photo: str
    code: str
    severity: Severity
    text: str
    do: str = ""
