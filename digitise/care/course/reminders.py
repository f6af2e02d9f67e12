"""What differs between two visits besides the limb, and may look like a change of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from digitise.care.course.visits import SAME_HEIGHT_MM, VisitVolume

Code = Literal["time-of-day", "measurer", "heights", "girth-heights", "posture", "gap"]

# Legs swell during the day (doi 10.1089/lrb.2019.0063); the bounds are ours.
MOST_HOURS = 3.0
MOST_DAYS = 21.0


@dataclass(frozen=True)
class Reminder:
    """A difference between a visit and the one before.

    Attributes
    ----------
    code
        Kind of the difference.
    visit
        Date of the later visit.
    text
        One sentence.
    """

    code: Code
    visit: str
    text: str


def reminders(ordered: Sequence[VisitVolume]) -> tuple[Reminder, ...]:
    """Return what changed from each visit to the next; what is unknown at either is passed over."""
    return tuple(
        Reminder(code, after.name, f"{after.name}: {text}")
        for before, after in pairwise(ordered)
        for code, text in _between(before, after)
    )


def _between(before: VisitVolume, after: VisitVolume) -> Iterator[tuple[Code, str]]:
    if before.local_hour is not None and after.local_hour is not None:
        apart = abs(before.local_hour - after.local_hour)
        if min(apart, 24 - apart) > MOST_HOURS:
            yield (
                "time-of-day",
                f"measured at {_clock(after.local_hour)}, the time before at {_clock(before.local_hour)}; "
                "limbs change over the day.",
            )
    if before.measured_by and after.measured_by and before.measured_by != after.measured_by:
        yield "measurer", f"measured by {after.measured_by}, the time before by {before.measured_by}."
    if before.posture and after.posture and before.posture != after.posture:
        yield "posture", f"measured {after.posture}, the time before {before.posture}."
    if any(abs(a - b) > SAME_HEIGHT_MM for a, b in zip(before.heights, after.heights, strict=True)):
        yield "heights", f"measured from {_range(after)}, the time before from {_range(before)}."
    if before.girths and after.girths and all(after.girth_at(h) is None for h in before.girths):
        yield "girth-heights", "girths are at other heights than the time before."
    days = (after.taken - before.taken).total_seconds() / 86400
    if days > MOST_DAYS:
        yield "gap", f"{days / 7:.1f} weeks after the visit before; what happened between is not seen."


def _clock(hour: float) -> str:
    minutes = round(hour * 60) % (24 * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _range(visit: VisitVolume) -> str:
    low, high = visit.heights
    return f"{low:.0f} to {high:.0f} mm"
