"""The limb as rows of a strip: what segmentation finds, and what the finer steps start from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.capture.surroundings.sheet_colour import Mask, Values
from digitise.geometry.rigid import Array

FOOT_TOP_MM = 130.0  # below, an instep may turn off as sharply as a lost edge jumps


@dataclass(frozen=True)
class Region:
    """The limb in a strip, row by row.

    Attributes
    ----------
    rows
        (n,) consecutive strip rows that show the limb, from the trunk down.
    left, right
        (n,) boundary offsets from the axis, mm, as seen.
    evidence
        For the left and for the right boundary, (H, W) log-likelihood ratio limb : surroundings of
        each cell, bounded.
    doubtful
        For each boundary (n,) True where the colours on its two sides hardly differ.
    touched
        For each boundary (n,) True where something other than a known backdrop lies beyond it.
    hidden
        For each boundary (n,) True where it cannot be made out at all.
    strayed_mm
        For each boundary (n,) by how far it jumped sideways where another body, or a fold of the limb
        itself, begins; zero elsewhere.
    below
        (n,) True below the backdrop, where floor and mat are behind.
    printed
        For each boundary (n,) True where printed paper lies beyond it, whose print makes steps of light.
    dressed
        For each boundary (n,) True where a dressing lies on the limb beside it.
    before
        For each boundary (n,) True where it is that of another body, which stands before the limb.
    creased_mm
        For each boundary (n,) sd with which it is known where the limb's skin is pressed on other skin; zero
        elsewhere. None where that was not sought.
    rests
        For each boundary (n,) True where a limb that lies rests on something; None for one that stands.
    padded
        For each boundary (n,) True where it is a pale dressing's; None where none is known.
    hem_mm
        Height at which cloth was seen to begin already, above the rows; None where none was.
    sides
        (k, H) offsets of upright sides of print behind it, mm, NaN where none runs; None where not known.
    steps
        For each boundary (n,) offsets at which steps of light told it, mm; None where they told it alone.
    unsure_mm
        Least sd of points that are not sure, mm: zero where nothing but their own step tells it.
    """

    rows: NDArray[np.intp]
    left: Array
    right: Array
    evidence: tuple[Values, Values]
    doubtful: tuple[Mask, Mask]
    touched: tuple[Mask, Mask]
    hidden: tuple[Mask, Mask]
    strayed_mm: tuple[Array, Array]
    below: Mask
    printed: tuple[Mask, Mask]
    dressed: tuple[Mask, Mask]
    before: tuple[Mask, Mask]
    rests: tuple[Mask, Mask] | None = None
    hem_mm: float | None = None
    padded: tuple[Mask, Mask] | None = None
    creased_mm: tuple[Array, Array] | None = None
    sides: Array | None = None
    steps: tuple[Array, Array] | None = None
    unsure_mm: float = 0.0
