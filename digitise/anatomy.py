"""Which limb of a person, and on which side of the body.

Examples
--------
>>> LimbKind("arm"), Side.LEFT.other
(<LimbKind.ARM: 'arm'>, <Side.RIGHT: 'right'>)

What is no limb is none:

>>> LimbKind("tail")
Traceback (most recent call last):
...
ValueError: 'tail' is not a valid LimbKind

Heights from two places cannot be put side by side; where one was not said, nothing speaks against it:

>>> counts_alike(CountedFrom.WRIST_CREASE, CountedFrom.ELBOW_TIP), counts_alike(None, CountedFrom.ELBOW_TIP)
(False, True)
"""

from __future__ import annotations

from enum import StrEnum


class LimbKind(StrEnum):
    """A kind of limb that is measured, as files write it."""

    LEG = "leg"
    ARM = "arm"


class Side(StrEnum):
    """Left or right as the person has it, as files write it."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def other(self) -> Side:
        """The side that is not this one."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT


class CountedFrom(StrEnum):
    """The place on a limb that lies from which its heights count, as files write it."""

    WRIST_CREASE = "wrist-crease"
    ELBOW_TIP = "elbow-tip"
    ANKLE_BONE = "ankle-bone"
    KNEECAP = "kneecap"

    @property
    def limb(self) -> LimbKind:
        """The limb that has this place."""
        return LimbKind.ARM if self in (CountedFrom.WRIST_CREASE, CountedFrom.ELBOW_TIP) else LimbKind.LEG


def counts_alike(one: CountedFrom | None, other: CountedFrom | None) -> bool:
    """Tell whether heights may count from one place; None is a place that was not said."""
    return None in (one, other) or one == other
