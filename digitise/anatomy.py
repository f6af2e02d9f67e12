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
