"""The way of a bandage over foot or hand up to where the measured limb begins."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only


@dataclass(frozen=True, eq=False)
class Way:
    """The way over a foot from behind the toes up, or over a hand from behind the knuckles.

    Attributes
    ----------
    at
        (N,) rising places along it, mm; above the bend of ankle or wrist they are heights.
    girth
        (N,) what a taut bandage goes round there, mm.
    bend_mm
        Height of the bend of the ankle, or of the wrist.
    measured
        Whether foot or hand was measured; else its girths were taped.
    part
        Which of the two.
    """

    at: Array
    girth: Array
    bend_mm: float
    measured: bool
    part: Literal["foot", "hand"] = "foot"

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)

    @property
    def start_mm(self) -> float:
        """Where it begins, behind toes or knuckles."""
        return float(self.at[0])

    @property
    def planned_mm(self) -> float:
        """What a plan says for a layer that begins there: 0 on a foot, whose way has no heights."""
        return 0.0 if self.part == "foot" else float(round(self.start_mm))
