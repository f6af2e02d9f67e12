"""The volume of a limb's end, whichever it is."""

from __future__ import annotations

from digitise.shape.end import EndPart
from digitise.shape.foot.figures import foot_volume
from digitise.shape.hand.figures import joined_hand_volume
from digitise.shape.limb import Estimate


def end_volume(end: EndPart, below_mm: float | None = None) -> Estimate[float]:
    """Return the volume of a foot or hand below its limb's lowest section, or below a lower height, mL."""
    measure = foot_volume if end.name == "foot" else joined_hand_volume
    return measure(end, below_mm)
