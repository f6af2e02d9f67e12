"""What changed in the foot between two visits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.change.compare import ChangeVerdict
from digitise.shape.foot.figures import foot_volume
from digitise.shape.foot.join import Foot
from digitise.shape.limb import Estimate


@dataclass(frozen=True)
class FootChange:
    """Change of the foot's volume, second minus first.

    Attributes
    ----------
    below_mm
        The lower of the two heights at which the visits' legs begin: what lies below is compared.
    first_ml, second_ml
        Volumes, mL.
    change_ml, percent
        Of the first foot's volume.
    """

    below_mm: float
    first_ml: float
    second_ml: float
    change_ml: Estimate[float]
    percent: Estimate[float]

    @property
    def verdict(self) -> ChangeVerdict:
        """What the change and its interval say."""
        return ChangeVerdict.of(self.change_ml)


def foot_change(first: Foot, second: Foot) -> FootChange:
    """Compare the feet of two visits below a height that both know.

    The two errors are taken as independent: what both visits get wrong alike is not yet known, so the
    interval is rather too wide.
    """
    below = min(first.top_mm, second.top_mm)
    one, other = (foot_volume(foot, below) for foot in (first, second))
    change = Estimate(other.mean - one.mean, float(np.hypot(one.sd, other.sd)))
    share = 100.0 / one.mean
    # the first volume's own error hardly moves a change of some percent
    return FootChange(below, one.mean, other.mean, change, Estimate(share * change.mean, share * change.sd))
