"""The volume from girths alone: the sum of truncated cones.

Heights and girths in mm, volumes in mL (1 mL = 1000 mm³).  ``heights`` (n,) rise strictly; ``girths``
(n,) are perimeters of circular sections.  The formula is printed in Gohil et al. 2018, Indian J Vasc Endovasc
Surg 5(4):259-265.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.errors import TapeError
from digitise.geometry.rigid import Array
from digitise.tape.rows import TapeRow

_MM3_PER_ML = 1000.0
LONGEST_REACH_MM = 40.0
"""How far an end girth is carried on beyond its row: one step of the usual clinical spacing."""


def cone_sum_ml(heights: Array, girths: Array) -> float:
    """Sum of truncated cones: h / (12 pi) (C1² + C1 C2 + C2²) each.

    Examples
    --------
    Two girths of 20 cm, 10 cm apart, are a cylinder of ``10 * 20**2 / (4 pi)`` mL:

    >>> round(cone_sum_ml(np.array([0.0, 100.0]), np.array([200.0, 200.0])), 1)
    318.3
    >>> cone_sum_ml(np.array([0.0]), np.array([200.0]))
    0.0
    """
    low, high = girths[:-1], girths[1:]
    areas = (low**2 + low * high + high**2) / (12 * np.pi)
    return float(np.sum(np.diff(heights) * areas)) / _MM3_PER_ML


def cone_volume_ml(
    rows: Sequence[TapeRow], from_mm: float, to_mm: float, reach_mm: float = LONGEST_REACH_MM
) -> float:
    """Return the sum of cones between two heights.

    Between rows the girth is linear in height; beyond the lowest and highest row the end girth is
    carried on over at most ``reach_mm``.

    Raises
    ------
    TapeError
        When there are no rows, ``to_mm`` is not above ``from_mm``, or a height lies further than
        ``reach_mm`` beyond the rows.

    Examples
    --------
    >>> rows = (TapeRow(100.0, 220.0), TapeRow(140.0, 240.0))
    >>> round(cone_volume_ml(rows, 100.0, 140.0), 1)
    168.5
    >>> cone_volume_ml(rows, 100.0, 400.0)
    Traceback (most recent call last):
    ...
    digitise.errors.TapeError: The height 400 mm lies 260 mm beyond the tape rows (100 to 140 mm); ...
    """
    heights, weights = _clipped(rows, from_mm, to_mm, reach_mm)
    return cone_sum_ml(heights, weights @ _girths(rows))


def _girths(rows: Sequence[TapeRow]) -> Array:
    return np.array([row.girth_mm for row in rows], dtype=np.float64)


def _clipped(rows: Sequence[TapeRow], from_mm: float, to_mm: float, reach_mm: float) -> tuple[Array, Array]:
    """Return section heights (m,) from ``from_mm`` to ``to_mm`` and weights (m, n) of the rows' girths."""
    if not rows:
        raise TapeError("There are no tape rows.", do="Measure girths at a few heights.")
    if not from_mm < to_mm:
        raise TapeError(
            f"The upper height {to_mm:g} mm is not above the lower {from_mm:g} mm.", do="Exchange them."
        )
    at = np.array([row.height_mm for row in rows], dtype=np.float64)
    for height, gap in ((from_mm, at[0] - from_mm), (to_mm, to_mm - at[-1])):
        if gap > reach_mm:
            raise TapeError(
                f"The height {height:g} mm lies {gap:.0f} mm beyond the tape rows"
                f" ({at[0]:g} to {at[-1]:g} mm); girths are carried on over {reach_mm:g} mm at most.",
                do="Measure a girth nearer to it.",
            )
    inside = at[(at > from_mm) & (at < to_mm)]
    heights = np.concatenate([[from_mm], inside, [to_mm]])
    unit_girths = np.eye(len(at))
    weights = np.stack([np.interp(heights, at, column) for column in unit_girths], axis=1)
    return heights, weights
