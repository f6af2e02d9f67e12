"""Measured visits of a limb by time, as a course, a report or a study of repeats takes them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from digitise.anatomy import LimbKind, Side, counts_alike
from digitise.output.model.form import ModelForm

CREATED = (
    "The times are those at which the models were made: give the times of the visits, where they are others."
)
NO_TIMES = (
    "The models were made within hours of each other, so when the visits were is not known and neither rate "
    "nor verdict is given: give the time of each visit."
)
OTHERWISE_PLACED = (
    "{}: left out, as the limb was not placed as at the last visit (standing or lying, and what was "
    "tapped), so that heights count from another place."
)
# Both limbs of one visit are measured within this time.
SAME_VISIT = timedelta(hours=12)


def placed_alike(one: ModelForm, other: ModelForm) -> bool:
    """Tell whether heights along two limbs may count from one place: both stood, or both lay."""
    return bool(one.lying) == bool(other.lying) and counts_alike(one.counted_from, other.counted_from)


@dataclass(frozen=True)
class VisitMeasurement:
    """One limb at one visit.

    Attributes
    ----------
    model
        Its figures.
    when
        Time of the visit, with a time zone.
    place
        Folder or number of the visit, for messages.
    measured_by, posture
        Empty when unknown.
    timed
        Whether ``when`` is the time of the visit, and not that at which the model was made.
    """

    model: ModelForm
    when: datetime
    place: str
    measured_by: str = ""
    posture: str = ""
    timed: bool = True


@dataclass(frozen=True)
class LimbSeries:
    """A limb's visits by time, each with the other limb at that visit where it was measured.

    Attributes
    ----------
    visits, others
        Of one limb, and of the other one; as many.
    left_out
        Which visits are not among them and why, a sentence each.
    """

    visits: tuple[VisitMeasurement, ...]
    others: tuple[VisitMeasurement | None, ...]
    left_out: tuple[str, ...] = ()

    @property
    def limb(self) -> LimbKind:
        """Return the kind of limb."""
        return self.visits[0].model.limb

    @property
    def side(self) -> Side:
        """Return the side of the body."""
        return self.visits[0].model.side

    @property
    def remarks(self) -> tuple[str, ...]:
        """Return what to know of the visits' times, and of those that are left out."""
        if all(visit.timed for visit in self.visits):
            return self.left_out
        return (CREATED if self.has_times else NO_TIMES, *self.left_out)

    @property
    def has_times(self) -> bool:
        """Return whether times tell when the visits were: given, or days apart as made."""
        if all(visit.timed for visit in self.visits):
            return True
        whens = sorted(visit.when for visit in self.visits)
        return all(later - earlier > SAME_VISIT for earlier, later in pairwise(whens))
