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
    """Sum of truncated cones: h / (12 pi) (C1² + C1 C2 + C2²) each."""
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
