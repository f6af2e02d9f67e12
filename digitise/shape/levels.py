"""Between which heights the limb is seen, and where a leg ends and its foot begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from digitise.errors import ShapeError
from digitise.geometry.rigid import Array
from digitise.geometry.view import View
from digitise.shape.tangents import Samples

GRID_MM = 5.0
ROUND_MM = 10.0
# Fewer levels than these, 40 mm, are no stretch of a limb; and where less than this share of what can be
# measured has all its edges, the rest is reported too.
LEAST_LEVELS = 8
WHOLE_SHARE = 0.6
# How far a wanted height may lie beyond the edges that were traced, surely or not.
REACH_MM = 15.0
# Going down, a foot begins where a section grows by more than 1 mm per mm (heel and instep at some 25 degrees
# each); the ankle bones themselves, 70-75 mm high on adults, widen a section by less.
FOOT_GROWTH = 1.0
# A tape row down to this growth still lies on the leg.
TAPED_GROWTH = 1.5
FOOT_BELOW_MM = 160.0
TAPE_REACH_MM = 60.0
# Adult ankle bones reach 70-75 mm: a leg is not reported from lower down unless that is asked for.
ANKLE_TOP_MM = 80.0
# A hand is this much wider than its wrist; a tape this far below the narrowest level is at the wrist.
HAND_EXCESS = 1.08
WRIST_REACH_MM = 40.0


class OutOfSightError(ShapeError):
    """Heights were asked for that no photograph shows.

    Parameters
    ----------
    what, do
        As for every error.
    from_mm, to_mm
        The part of what was asked for that can be measured, mm; from above to, where there is none.
    """

    def __init__(self, what: str, *, do: str, from_mm: float, to_mm: float) -> None:
        super().__init__(what, do=do)
        self.from_mm, self.to_mm = from_mm, to_mm


@dataclass(frozen=True)
class Levels:
    """Heights along the axis, mm.

    Attributes
    ----------
    seen_low, seen_high
        Lowest and highest level with sure edges on both sides in all views, or with as many as it takes where
        those are few.
    from_mm, to_mm
        The levels to report between.
    foot_top_mm
        Where the foot begins; None for an arm or when no foot is in the pictures.
    """

    seen_low: float
    seen_high: float
    from_mm: float
    to_mm: float
    foot_top_mm: float | None


def _side_profile(sides: Sequence[Samples], levels: Array, sure_only: bool) -> Array:
    """Return the mean support distance of one side at each level, NaN where no (sure) edge is near."""
    used = [side.sure if sure_only else np.ones(len(side.z), bool) for side in sides]
    z = np.concatenate([side.z[keep] for side, keep in zip(sides, used, strict=True)])
    h = np.concatenate([side.h[keep] for side, keep in zip(sides, used, strict=True)])
    if len(z) < 2:
        return np.full(len(levels), np.nan)
    order = np.argsort(z)
    z, h = z[order], h[order]
    known = (levels >= z[0] - GRID_MM / 2) & (levels <= z[-1] + GRID_MM / 2)
    above = np.clip(np.searchsorted(z, levels), 1, len(z) - 1)
    known &= np.minimum(np.abs(levels - z[above - 1]), np.abs(levels - z[above])) <= 2 * GRID_MM
    return np.where(known, np.interp(levels, z, h), np.nan)


def side_profiles(views: tuple[tuple[Samples, ...], ...], levels: Array, *, sure_only: bool = True) -> Array:
    """Return each view's support distance on its two sides: (V, 2, L) mm, NaN where not (surely) seen."""
    rows = []
    for edges in views:
        known = [edge for edge in edges if len(edge.z)]
        first = known[0].theta[len(known[0].theta) // 2]
        same = [np.cos(edge.theta[len(edge.theta) // 2] - first) > 0 for edge in known]
        left = [edge for edge, is_same in zip(known, same, strict=True) if is_same]
        right = [edge for edge, is_same in zip(known, same, strict=True) if not is_same]
        empty = np.full(len(levels), np.nan)
        rows.append([_side_profile(side, levels, sure_only) if side else empty for side in (left, right)])
    return np.asarray(rows)


def _enough(sides: Array, levels: Array, taped: Sequence[float], bridged_from: float) -> NDArray[np.bool_]:
    """Tell at which levels a section can be measured, its interval widened: (L,).

    With three edges of two views the fourth is bridged from the neighbouring heights. With one edge of each
    of two views the girth must come from a tape nearby. Below ``bridged_from`` nothing is bridged: there an
    instep turns off, and nobody knows where.
    """
    known = np.isfinite(sides)
    edges, views = known.sum(axis=(0, 1)), known.any(axis=1).sum(axis=0)
    away = [np.abs(levels - height) for height in taped] or [np.full(len(levels), np.inf)]
    near = np.min(away, axis=0) <= TAPE_REACH_MM
    bridged = (views > 1) & ((edges > 2) | near) & (levels >= bridged_from)
    return np.asarray(bridged | known.all(axis=(0, 1)))


def _growth_downward(widths: Array) -> Array:
    """Return the views' greatest growth of width per mm going down, measured over 20 mm: (L,)."""
    growth = np.zeros(widths.shape[1])
    slope = (widths[:, :-4] - widths[:, 4:]) / (4 * GRID_MM)
    growth[2:-2] = np.max(np.nan_to_num(slope, nan=0.0), axis=0)
    return growth


def foot_top(levels: Array, widths: Array, growth_limit: float = FOOT_GROWTH) -> float | None:
    """Return the height above which a leg no longer widens towards the foot, or None without a foot."""
    growth = np.where(levels < FOOT_BELOW_MM, _growth_downward(widths), 0.0)
    steep = np.flatnonzero(growth > growth_limit)
    return float(levels[steep[-1] + 1]) if len(steep) else None


def hand_top(levels: Array, widths: Array) -> float | None:
    """Return the height of an arm's wrist, its narrowest level below the middle, or None without a hand."""
    mean = np.mean(widths, axis=0)
    seen = np.flatnonzero(np.isfinite(mean))
    lower = seen[: (len(seen) + 1) // 2]
    if not len(lower):
        return None
    wrist = lower[int(np.argmin(mean[lower]))]
    below = mean[lower[lower < wrist]]
    return float(levels[wrist]) if below.max(initial=0.0) > HAND_EXCESS * mean[wrist] else None


def hand_bottom(levels: Array, widths: Array) -> float | None:
    """Return the height of the wrist of an arm whose hand points up, or None where no hand is seen.

    It is the level that is narrowest against the widest below and the widest above: fingers are narrower, but
    nothing wider lies above them.
    """
    mean = np.mean(widths, axis=0)
    seen = np.flatnonzero(np.isfinite(mean))
    width = mean[seen]
    if not len(width):
        return None
    below, above = np.maximum.accumulate(width), np.maximum.accumulate(width[::-1])[::-1]
    waist = np.minimum(below, above) / width
    wrist = int(np.argmax(waist))
    is_up = wrist > len(waist) // 2  # below, it is the wrist of a hand that is down
    return float(levels[seen[wrist]]) if is_up and waist[wrist] > HAND_EXCESS else None


def find_levels(
    samples: tuple[tuple[Samples, ...], ...],
    views: tuple[View, ...],
    *,
    is_leg: bool,
    bridged: bool = False,
    hand_up: bool = False,
    taped: Sequence[float] = (),
    from_mm: float | None = None,
    to_mm: float | None = None,
) -> Levels:
    """Choose the heights to report between from the evidence, or check those that were asked for.

    Parameters
    ----------
    samples
        All edges of all views, touched.
    views
        Their names are for messages.
    is_leg
        Whether a foot is looked for, else a hand.
    bridged
        Report where any one edge is hidden as well, as by the supports of a limb that lies.
    hand_up
        Whether a hand is looked for above as well, as on an arm that stands on its elbow.
    taped
        Heights of tape rows: where they lie, somebody wishes to measure.
    from_mm, to_mm
        As asked for; None where the evidence decides.

    Raises
    ------
    OutOfSightError
        When a wanted level lies more than 15 mm beyond what is traced.
    ShapeError
        When too little is seen at every level.
    """
    every = np.concatenate([edge.z for edges in samples for edge in edges])
    low = GRID_MM * np.floor(max(every.min(), -1000.0) / GRID_MM)
    levels = np.arange(low, min(every.max(), 3000.0) + GRID_MM, GRID_MM)
    sides = side_profiles(samples, levels)
    enough = _enough(sides, levels, taped, FOOT_BELOW_MM if is_leg else -np.inf)
    seen_low, seen_high = _seen(sides, levels, taped, enough, views, bridged=bridged)
    traced = side_profiles(samples, levels, sure_only=False)
    at = levels[np.isfinite(traced).any(axis=1).sum(axis=0) > 1]
    widths, rims = sides.sum(axis=1), traced.sum(axis=1)
    foot = foot_top(levels, widths) if is_leg else None
    lowest_tape = min(taped, default=None)
    if is_leg:
        start = _leg_start(levels, rims, max(seen_low, ANKLE_TOP_MM, foot or 0.0), float(at[0]), lowest_tape)
    elif hand_up and (wrist := hand_bottom(levels, rims)) is not None:
        start, seen_high = seen_low, min(seen_high, wrist)
    else:
        start = _arm_start(levels, widths, seen_low, lowest_tape)
    found_from = ROUND_MM * np.ceil(start / ROUND_MM - 1e-9)
    if lowest_tape is not None and lowest_tape >= start:
        found_from = min(found_from, lowest_tape)
    found_to = ROUND_MM * np.floor(seen_high / ROUND_MM + 1e-9)
    bottom = float(found_from if from_mm is None else from_mm) + 0.0  # no minus zero
    top = float(found_to if to_mm is None else to_mm)
    measurable = levels[enough]
    lowest = found_from if is_leg else ROUND_MM * np.ceil(measurable[0] / ROUND_MM - 1e-9)
    highest = max(found_to, ROUND_MM * np.floor(measurable[-1] / ROUND_MM + 1e-9))
    _check_wanted((bottom, top), (float(at[0]), float(at[-1])), (float(lowest), float(highest)))
    return Levels(seen_low, seen_high, bottom, top, foot)


def _seen(
    sides: Array,
    levels: Array,
    taped: Sequence[float],
    known: NDArray[np.bool_],
    views: tuple[View, ...],
    *,
    bridged: bool,
) -> tuple[float, float]:
    """Return the lowest and highest level that is seen well enough to report by default.

    That is where all edges are sure; where this is little of what can be measured, all that can be; and in
    either case as far as tape rows reach within that.
    """
    whole = levels[np.isfinite(sides).all(axis=(0, 1))]
    enough = levels[known]
    if len(enough) < LEAST_LEVELS:
        raise ShapeError(
            "The limb's edges are not surely seen at the same height in two photographs.",
            where=", ".join(view.name for view in views),
            do="Correct the outlines by hand or take the photographs again.",
        )
    enough_whole = max(LEAST_LEVELS, WHOLE_SHARE * len(enough))
    used = whole if len(whole) >= enough_whole and not bridged else enough
    rows = enough[(enough >= min(taped, default=np.inf)) & (enough <= max(taped, default=-np.inf))]
    every = np.concatenate([used, rows])
    return float(every.min()), float(every.max())


def _arm_start(levels: Array, widths: Array, seen_low: float, lowest_tape: float | None) -> float:
    """Return where the arm begins: at the wrist, or at a tape row just below it."""
    wrist = hand_top(levels, widths)
    if wrist is None:
        return seen_low
    if lowest_tape is not None and wrist - WRIST_REACH_MM <= lowest_tape < wrist:
        return max(seen_low, lowest_tape)
    return max(seen_low, wrist)


def _leg_start(
    levels: Array, traced: Array, start: float, traced_low: float, lowest_tape: float | None
) -> float:
    """Return where the leg begins: ``start``, or a tape row a little lower that still lies on the leg.

    The row may lie where edges are traced without being sure: its girth makes up for them.
    """
    if lowest_tape is None or not max(traced_low, start - TAPE_REACH_MM) <= lowest_tape < start:
        return start
    steep = foot_top(levels, traced, TAPED_GROWTH)
    return lowest_tape if steep is None or lowest_tape >= steep else start


def _check_wanted(
    wanted: tuple[float, float], traced: tuple[float, float], known: tuple[float, float]
) -> None:
    """Refuse heights that are not in the pictures, naming those of them that can be measured."""
    (bottom, top), (low, high) = wanted, traced
    seen = f"The photographs show the limb from {low:.0f} to {high:.0f} mm"
    unseen = bottom < low - REACH_MM, top > high + REACH_MM
    if any(unseen):
        raise OutOfSightError(
            f"{seen}, but {bottom:.0f} to {top:.0f} mm was asked for.",
            do="Choose heights within that, or retake the photographs.",
            from_mm=max(bottom, known[0]) if unseen[0] else bottom,
            to_mm=min(top, known[1]) if unseen[1] else top,
        )
    if top - bottom < 2 * ROUND_MM:
        raise ShapeError(
            f"{seen}; from {bottom:.0f} to {top:.0f} mm is not a usable segment.",
            do="Choose heights at least 20 mm apart within it.",
        )
