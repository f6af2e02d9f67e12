"""Where a girth profile has its narrow and wide places: candidates that a person confirms.

The rules read girths only: B is the least girth below the calf, C the greatest girth of the calf, D the least
girth above it before the limb widens again, B1 the strongest upward bend between B and C.  They are
heuristics of ours; an arm's wrist and forearm follow the same rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.surface.chart import columns, draw_coefficients, limb_chart
from digitise.care.surface.taper import sagitta
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb

# On every leg the girth falls from the heel to the narrow place above the ankle bones, 70-75 mm high.
HEEL_BELOW_MM = 160.0
_STEP_MM = 2.0
_DRAWS = 200
_SEED = 7
# A calf stands out from what is above it by at least this much girth.
_PROMINENCE_MM = 4.0
# The bend is measured over twice 20 mm, clear of the narrow place, which bends most of all.
_BEND_MM = 20.0
_CLEAR_MM = 30.0
# How far above the narrow place below the knee its crease is looked for, and how deep below a straight edge
# of 60 mm the crease must lie to be told from a gentle bend (ours).
_CREASE_REACH_MM = (-40.0, 120.0)
_EDGE_MM = 60.0
_SAFE_MM = 1e-9


@dataclass(frozen=True)
class Landmark:
    """A height found from the shape.

    Attributes
    ----------
    height_mm
        Distance from the mat along the axis.
    interval_95
        Where it may lie as far as the girths are known, mm.
    at_end
        The profile still falls (or rises) there: the true place may lie beyond the measured segment.
    """

    height_mm: float
    interval_95: tuple[float, float]
    at_end: bool


@dataclass(frozen=True)
class Landmarks:
    """Candidates of one limb; None where the profile has no such place.

    Attributes
    ----------
    narrow
        Least girth below the widest place: ankle or wrist.
    bend
        Strongest upward bend between the two.
    wide
        Greatest girth of calf or forearm.
    upper_narrow
        Least girth above it: below the knee, or near the elbow.
    """

    narrow: Landmark | None
    bend: Landmark | None
    wide: Landmark | None
    upper_narrow: Landmark | None


_NAMES = ("narrow", "bend", "wide", "upper_narrow")


def find_landmarks(limb: Limb) -> Landmarks:
    """Find the candidates of a limb, each with the interval that its girths leave."""
    z = np.arange(limb.from_mm, limb.to_mm + _STEP_MM / 2, _STEP_MM)
    mean = 2 * np.pi * (limb.basis.splines(z) @ limb.mean[: limb.basis.n_splines])
    found = _rows(mean)
    deviation = 2 * np.pi * draw_coefficients(limb, z, _DRAWS, _SEED, terms=1)[:, :, 0]
    others = [_rows(mean + deviation[draw]) for draw in range(_DRAWS)]

    def landmark(which: int) -> Landmark | None:
        row = found[which]
        if row is None:
            return None
        rows = [other[which] for other in others]
        heights = z[[r for r in rows if r is not None] or [row]]
        low, high = np.percentile(heights, [2.5, 97.5])
        height = float(z[row])
        return Landmark(height, (min(float(low), height), max(float(high), height)), row in (0, len(z) - 1))

    return Landmarks(*(landmark(which) for which in range(len(_NAMES))))


def profile_rows(girth: Array) -> tuple[int, int, int] | None:
    """Return the rows of narrow, wide and upper narrow place of girths (N,) from foot or hand up, if any."""
    wide = _first_peak(girth)
    if wide is None:
        return None
    narrow = int(np.argmin(girth[: wide + 1]))
    rest = girth[wide:]
    # up to where the limb has grown beyond the calf again, or its end
    beyond = np.flatnonzero(rest > rest[0] + _SAFE_MM)
    upper = wide + int(np.argmin(rest[: beyond[0]] if len(beyond) else rest))
    return narrow, wide, upper


def _first_peak(girth: Array) -> int | None:
    """Return the row of the first place that stands out from both its sides by the prominence.

    Written out, since the library's function for it takes longer to load than all else here to run.
    """
    steps = np.sign(np.diff(girth))
    moves = np.flatnonzero(steps)
    turns = np.flatnonzero((steps[moves[:-1]] > 0) & (steps[moves[1:]] < 0))
    for first, last in zip(moves[turns] + 1, moves[turns + 1], strict=True):
        row = int(first + last) // 2
        higher = np.flatnonzero(girth > girth[row])
        low, high = higher[higher < row], higher[higher > row]
        before = girth[low[-1] + 1 if len(low) else 0 : row + 1]
        after = girth[row : high[0] if len(high) else len(girth)]
        if girth[row] - max(before.min(), after.min()) >= _PROMINENCE_MM:
            return row
    return None


def _rows(girth: Array) -> tuple[int | None, int | None, int | None, int | None]:
    """Return the rows of narrow place, bend, wide and upper narrow place."""
    found = profile_rows(girth)
    if found is None:
        return None, None, None, None
    narrow, wide, upper = found
    return narrow, _bend(girth, narrow, wide), wide, upper


def _bend(girth: Array, narrow: int, wide: int) -> int | None:
    reach = round(_BEND_MM / _STEP_MM)
    start = max(narrow + round(_CLEAR_MM / _STEP_MM), reach)
    inner = np.arange(start, min(wide, len(girth) - reach - 1))
    if not len(inner):
        return None
    second = girth[inner - reach] - 2 * girth[inner] + girth[inner + reach]
    return int(inner[np.argmax(second)])


def knee_crease(limb: Limb, marks: Landmarks) -> float | None:
    """Return the height at which the back of a leg bends in most near the knee, mm, or None.

    The crease itself is too fine for outlines; a bandage's end is to be kept off this height.
    """
    if limb.kind != LimbKind.LEG or marks.upper_narrow is None or marks.upper_narrow.at_end:
        return None
    chart = limb_chart(limb)
    back = np.cos(columns(len(chart.theta)) + np.pi / 2) > np.cos(np.pi / 4)
    rows = max(1, round(_EDGE_MM / 2 / (chart.z[1] - chart.z[0])))
    profile = sagitta(chart.h[:, back].mean(axis=1, keepdims=True), rows)[:, 0]
    low, high = (marks.upper_narrow.height_mm + reach for reach in _CREASE_REACH_MM)
    near = (chart.z >= low) & (chart.z <= high)
    deepest = int(np.argmax(np.where(near, profile, -np.inf)))
    return float(chart.z[deepest]) if profile[deepest] > 0 else None
