"""Withholding an output, and what it takes to have it all the same."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, Literal

from digitise.care.safety.assess import Safety
from digitise.errors import SafetyError

Output = Literal["pad", "wrap", "garment"]
"""What presses on the limb: places with their foam, a wrap, the girth list for a garment."""

OUTPUT_WORDS: Final[dict[Output, str]] = {"pad": "padding", "wrap": "wrap", "garment": "girth list"}
UNKNOWN = "No answers about safety were given. Ask for warning signs and conditions before any wrap."
# Long enough to say something, short enough for one line of a print (ours).
_REASON_LENGTH = (10, 200)


def release(safety: Safety | None, outputs: Sequence[Output], despite: str = "") -> tuple[str, ...]:
    """Return the lines that stand on top of outputs, or refuse to make them.

    Parameters
    ----------
    safety
        What the client's answers come to; None when no answers were given.
    outputs
        What is to be made.
    despite
        Why it is to be made although it is withheld; it is printed on the output.

    Raises
    ------
    SafetyError
        It is withheld and there is no reason, or the reason says nothing.

    Examples
    --------
    >>> release(None, ("wrap",))
    ('No answers about safety were given. Ask for warning signs and conditions before any wrap.',)
    """
    reason = _reason(despite)
    if safety is None:
        return (UNKNOWN,)
    if not safety.withheld:
        return safety.lines
    names = ", ".join(OUTPUT_WORDS[output] for output in outputs)
    if not reason:
        raise SafetyError(
            f"{names[0].upper()}{names[1:]} withheld. {' '.join(safety.lines)}",
            do='Settle this first; who answers for it gives a reason with --despite "reason".',
        )
    return (f"Made despite what is open here ({names}). Reason given: {reason}", *safety.lines)


def _reason(words: str) -> str:
    reason = " ".join(words.split())
    if words and not (_REASON_LENGTH[0] <= len(reason) <= _REASON_LENGTH[1] and reason.isprintable()):
        raise SafetyError(
            f"The reason has {len(reason)} characters or such that cannot be printed.",
            where="--despite",
            do=f"Write {_REASON_LENGTH[0]} to {_REASON_LENGTH[1]} characters, without names.",
        )
    return reason
