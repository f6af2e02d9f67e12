"""Both limbs of one visit side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from digitise.anatomy import Side, counts_alike
from digitise.care.excess import Excess, Volumes, excess
from digitise.errors import CourseError
from digitise.output.course.volumes import common_sds, stored_volume
from digitise.shape.limb import Estimate
from digitise.workflow.course import common_heights
from digitise.workflow.visits.measured import VisitMeasurement
from digitise.workflow.visits.sources import at_same_visit


@dataclass(frozen=True)
class BothLimbs:
    """Two limbs of one visit over the heights that both measured.

    Attributes
    ----------
    larger, smaller
        Which side's limb holds more, and the other side.
    volumes
        Of the larger and the smaller, mL.
    excess
        Larger over smaller.
    from_mm, to_mm
        Heights.
    """

    larger: Side
    smaller: Side
    volumes: tuple[Estimate[float], Estimate[float]]
    excess: Excess
    from_mm: float
    to_mm: float

    @property
    def is_clear(self) -> bool:
        """Whether the limbs surely differ: the 95 % interval of the excess does not hold zero."""
        return float(self.excess.excess_ml.interval_95[0]) > 0.0


def both_limbs(
    visit: VisitMeasurement, others: Sequence[VisitMeasurement], *, bilateral: bool = False
) -> BothLimbs | None:
    """Return a limb beside the opposite one of the same visit; None when that was not measured.

    Parameters
    ----------
    visit
        One limb.
    others
        Measured visits of the same client, of whatever limb.
    bilateral
        Both limbs are swollen.

    Raises
    ------
    CourseError
        They share too little height, or one stood and the other lay.
    """
    model = visit.model
    across = [one for one in others if one.model.limb == model.limb and one.model.side != model.side]
    other = at_same_visit(visit, across)
    if other is None:
        return None
    if model.lying != other.model.lying or not counts_alike(model.counted_from, other.model.counted_from):
        raise CourseError(
            "The two limbs were not placed alike (standing, or lying one way), so their heights do not count "
            "from one place.",
            do="Measure both standing, or both lying the same way and counted from the same place.",
        )
    low, high = common_heights([visit, other])
    measured = [(stored_volume(one.model, low, high), one.model) for one in (visit, other)]
    (more, larger), (less, smaller) = sorted(measured, key=lambda each: -each[0].mean)
    pair = Volumes.alike((more, less), common_sds(larger, smaller, low, high))
    over = excess(pair, bilateral=bilateral)
    return BothLimbs(larger.side, smaller.side, (more, less), over, low, high)
