"""What changed in the foot or hand between two visits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from digitise.care.change.compare import ChangeVerdict
from digitise.shape.end import EndPart
from digitise.shape.end_figures import end_volume
from digitise.shape.limb import Estimate


@dataclass(frozen=True)
class EndChange:
    """Change of a foot's or hand's volume, second minus first.

    Attributes
    ----------
    name
        ``foot`` or ``hand``.
    below_mm
        The lower of the two heights at which the visits' limbs begin: what lies below is compared.
    first_ml, second_ml
        Volumes, mL.
    change_ml, percent
        Of the first one's volume.
    """

    name: Literal["foot", "hand"]
    below_mm: float
    first_ml: float
    second_ml: float
    change_ml: Estimate[float]
    percent: Estimate[float]

    @property
    def verdict(self) -> ChangeVerdict:
        """What the change and its interval say."""
        return ChangeVerdict.of(self.change_ml)


def end_change_of(first: EndPart | None, second: EndPart | None) -> EndChange | None:
    """Compare the feet or hands of two visits; None where one of them was not measured."""
    return None if first is None or second is None else end_change(first, second)


def end_change(first: EndPart, second: EndPart) -> EndChange:
    """Compare the feet or hands of two visits below a height that both know.

    The two errors are taken as independent: what both visits get wrong alike is not yet known, so the
    interval is rather too wide.
    """
    below = min(first.top_mm, second.top_mm)
    one, other = (end_volume(end, below) for end in (first, second))
    change = Estimate(other.mean - one.mean, float(np.hypot(one.sd, other.sd)))
    share = 100.0 / one.mean
    # the first volume's own error hardly moves a change of some percent
    return EndChange(
        first.name, below, one.mean, other.mean, change, Estimate(share * change.mean, share * change.sd)
    )
