"""Volumes from girths alone: sums of cones, discs and elliptic frusta.

Heights and girths in mm, volumes in mL (1 mL = 1000 mm³).  ``heights`` (n,) rise strictly; ``girths``
(n,) are perimeters of circular sections unless said otherwise.  The cone sum is printed in Gohil et al.
2018, Indian J Vasc Endovasc Surg 5(4):259-265; the other rules are elementary integrals.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import ellipe

from digitise.errors import TapeError
from digitise.geometry.rigid import Array
from digitise.tape.rows import TapeRow

_MM3_PER_ML = 1000.0
LONGEST_REACH_MM = 40.0
"""How far an end girth is carried on beyond its row: one step of the usual clinical spacing."""


def cone_sum_ml(heights: Array, girths: Array) -> float:
    """Sum of truncated cones: h / (12 pi) (C1² + C1 C2 + C2²) each."""
    low, high = girths[:-1], girths[1:]
    return _sum_ml(heights, (low**2 + low * high + high**2) / (12 * np.pi))


def lower_disc_sum_ml(heights: Array, girths: Array) -> float:
    """Sum of discs with the lower girth of each step: h C1² / (4 pi)."""
    return _sum_ml(heights, girths[:-1] ** 2 / (4 * np.pi))


def mean_girth_disc_sum_ml(heights: Array, girths: Array) -> float:
    """Sum of discs with the mean girth of each step: h / (4 pi) ((C1 + C2) / 2)²."""
    return _sum_ml(heights, (girths[:-1] + girths[1:]) ** 2 / (16 * np.pi))


def mean_area_sum_ml(heights: Array, girths: Array) -> float:
    """Trapezoid rule on the areas: h / (8 pi) (C1² + C2²) each."""
    return _sum_ml(heights, (girths[:-1] ** 2 + girths[1:] ** 2) / (8 * np.pi))


def simpson_ml(heights: Array, girths: Array) -> float:
    """Simpson's rule on the areas.

    Raises
    ------
    TapeError
        When the steps are unequal or their number is odd.
    """
    steps = np.diff(heights)
    if len(steps) < 2 or len(steps) % 2 or not np.allclose(steps, steps[0], rtol=1e-6):
        raise TapeError(
            "Simpson's rule needs an even number of equal steps.",
            do="Measure at equal spacing, or use the sum of cones.",
        )
    areas = girths**2 / (4 * np.pi)
    weighted = areas[0] + 4 * areas[1:-1:2].sum() + 2 * areas[2:-1:2].sum() + areas[-1]
    return float(steps[0] / 3 * weighted) / _MM3_PER_ML


def elliptic_sum_ml(heights: Array, a: Array, b: Array) -> float:
    """Elliptic sections with semi-axes (n,) linear in between.

    pi h / 6 (2 a1 b1 + a1 b2 + a2 b1 + 2 a2 b2) each, which is exact.
    """
    a1, a2, b1, b2 = a[:-1], a[1:], b[:-1], b[1:]
    return _sum_ml(heights, np.pi / 6 * (2 * a1 * b1 + a1 * b2 + a2 * b1 + 2 * a2 * b2))


def similar_elliptic_sum_ml(heights: Array, a: Array, b: Array) -> float:
    """Short form pi h / 3 (a1 b1 + a2 b2 + sqrt(a1 b1 a2 b2)) each, exact only for similar ellipses."""
    low, high = a[:-1] * b[:-1], a[1:] * b[1:]
    return _sum_ml(heights, np.pi / 3 * (low + high + np.sqrt(low * high)))


def ellipse_perimeter(a: Array | float, b: Array | float) -> Array:
    """Perimeter 4 a E(1 - b²/a²) of ellipses with semi-axes ``a``, ``b``; complete elliptic integral."""
    long, short = np.maximum(a, b), np.minimum(a, b)
    return np.asarray(4.0 * long * ellipe(1.0 - (short / long) ** 2), dtype=np.float64)


def ellipse_from_girth(girth: Array | float, axis_ratio: Array | float) -> tuple[Array, Array]:
    """Return the semi-axes (a, b), a / b = ``axis_ratio``, of ellipses with the given perimeter."""
    b = np.asarray(girth, dtype=np.float64) / ellipse_perimeter(axis_ratio, 1.0)
    return b * axis_ratio, b


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


def cone_volume_sd_ml(
    rows: Sequence[TapeRow],
    from_mm: float,
    to_mm: float,
    row_sd_mm: float,
    shared_sd_mm: float = 0.0,
    reach_mm: float = LONGEST_REACH_MM,
) -> float:
    """Return the standard deviation of :func:`cone_volume_ml` by first-order propagation.

    Parameters
    ----------
    row_sd_mm
        Sd of each girth on its own: reading, place.
    shared_sd_mm
        Sd of an error that all girths have in common: the pull on the tape.

    Raises
    ------
    TapeError
        As :func:`cone_volume_ml`.

    Notes
    -----
    The shape error of the cones between distant rows is not in it; it is far larger for few rows.
    """
    heights, weights = _clipped(rows, from_mm, to_mm, reach_mm)
    girths = weights @ _girths(rows)
    factor = np.diff(heights) / (12 * np.pi * _MM3_PER_ML)
    by_section = np.zeros_like(girths)
    by_section[:-1] += factor * (2 * girths[:-1] + girths[1:])
    by_section[1:] += factor * (girths[:-1] + 2 * girths[1:])
    by_row = weights.T @ by_section
    return float(np.hypot(row_sd_mm * np.linalg.norm(by_row), shared_sd_mm * by_row.sum()))


def _sum_ml(heights: Array, areas: Array) -> float:
    return float(np.sum(np.diff(heights) * areas)) / _MM3_PER_ML


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
