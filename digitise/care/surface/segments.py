"""Names for the segments of a leg or an arm, found from how its girth runs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.surface.landmarks import profile_rows
from digitise.geometry.rigid import Array

# Shorter segments join their neighbour.
_LEAST_MM = 30.0
NAMES = {
    LimbKind.LEG: ("foot end", "ankle", "lower calf", "calf", "knee", "thigh"),
    LimbKind.ARM: ("hand end", "wrist", "lower forearm", "forearm", "elbow", "upper arm"),
}
THIRDS = ("lower third", "middle third", "upper third")
# The foot begins below the narrow place, by this share of the way from it to the wide one.  The other
# bounds lie so far from narrow, wide and upper narrow place, mm (all ours): on three legs with known joints
# the joint lay 0 to 66 mm above the upper narrow place.
_FOOT_SHARE = 0.25
_ABOVE_NARROW_MM = 40.0
_BELOW_WIDE_MM = 60.0
_JOINT_MM = (-20.0, 90.0)


class Segment(NamedTuple):
    """A named part of a limb between two heights, mm."""

    name: str
    low: float
    high: float


def segments(kind: LimbKind, z: Array, girth: Array) -> tuple[Segment, ...]:
    """Divide a limb at the narrow and wide places of its girths.

    Parameters
    ----------
    kind
        ``leg`` or ``arm``.
    z, girth
        (N,) heights, rising from foot or hand, and girths there, mm.
    """
    low, high = float(z[0]), float(z[-1])
    rows = profile_rows(girth)
    if rows is None:
        return divide(kind, low, high)
    narrow, wide, upper = (float(height) for height in z[list(rows)])
    return divide(kind, low, high, narrow, wide, upper if upper < high else None)


def divide(
    kind: LimbKind,
    low: float,
    high: float,
    narrow: float | None = None,
    wide: float | None = None,
    upper_narrow: float | None = None,
) -> tuple[Segment, ...]:
    """Name the segments of a limb, from bottom to top; they cover it without gaps.

    Parameters
    ----------
    kind
        ``leg`` or ``arm``.
    low, high
        Its ends, mm.
    narrow, wide, upper_narrow
        Heights of its narrow place above foot or hand, of the greatest girth of calf or forearm, and of the
        narrow place above that; a limb that runs on without the first two is divided in thirds.
    """
    if narrow is None or wide is None:
        edges = np.linspace(low, high, len(THIRDS) + 1).tolist()
        return tuple(Segment(*row) for row in zip(THIRDS, edges, edges[1:], strict=False))
    foot = narrow - _FOOT_SHARE * (wide - narrow)
    bounds = [low, foot, narrow + _ABOVE_NARROW_MM, wide - _BELOW_WIDE_MM]
    if upper_narrow is not None:
        bounds += [upper_narrow + reach for reach in _JOINT_MM]
    edges = np.maximum.accumulate(np.clip([*bounds, high], low, high)).tolist()
    return _joined([Segment(*row) for row in zip(NAMES[kind], edges, edges[1:], strict=False)], low, high)


def _joined(found: list[Segment], low: float, high: float) -> tuple[Segment, ...]:
    """Keep the segments of some length, and let them cover the limb without gaps."""
    kept = [s for s in found if s.high - s.low >= _LEAST_MM]
    edges = [low, *(s.low for s in kept[1:]), high]
    return tuple(Segment(s.name, *pair) for s, *pair in zip(kept, edges, edges[1:], strict=False))
