"""What the forms of all care files share: rounding, intervals, and what wrote them."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from digitise import __version__
from digitise.output.model.form import SoftwareForm
from digitise.shape.limb import Estimate

_DIGITS = 3


def rounded(value: object) -> float:
    """Return a number to a thousandth."""
    # adding zero turns -0.0 into 0.0
    return round(float(np.float64(value)), _DIGITS) + 0.0  # type: ignore[arg-type]


def interval(estimate: Estimate) -> tuple[float, float]:
    """Return the two ends of the 95 % interval, to a thousandth."""
    low, high = estimate.interval_95
    return rounded(low), rounded(high)


def now() -> datetime:
    """Return the time to the second, UTC."""
    return datetime.now(UTC).replace(microsecond=0)


def software() -> SoftwareForm:
    """Return what writes the file."""
    return SoftwareForm(name="digitise", version=__version__)
