"""Places that may need padding: found on the maps, measured, put into words.

A region starts where its map exceeds both threshold and noise, and grows downhill.  It is drawn, and named by
its heights, down to half the threshold (a difference down to its threshold).  Its volume is counted as far as
a twentieth of its peak; beyond the limb's own taper as far as it can be told from what its surroundings alone
would be, see :mod:`digitise.care.padding.peaks`.  Outlines show a limb as convex
round each section: a dent behind a convex edge is not seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from digitise.care.padding.maps import (
    Difference,
    Kind,
    Limits,
    Search,
    difference_search,
    own_searches,
)
from digitise.care.padding.noise import FALSE_SHARE
from digitise.care.padding.peaks import FOOT, Peak, grown, settle, tops
from digitise.care.padding.places import one_each
from digitise.care.padding.region import Region
from digitise.care.padding.region_size import Size, measure
from digitise.care.padding.usual import USUAL
from digitise.care.surface.chart import SHARPEST, Chart, Mask, limb_chart
from digitise.care.surface.landmarks import HEEL_BELOW_MM, find_landmarks
from digitise.care.surface.place_words import direction_words, place_words, segment_name, segments
from digitise.care.surface.segments import Segment
from digitise.care.surface.taper import outer_lift, with_rim
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb

HIDDEN = (
    "Outlines cannot see dents hidden behind a convex edge: feel the limb as well. Ridges such as the crest "
    "of the shin cannot be judged from two photographs, and hardly from fewer than six: that none is listed "
    "does not mean that there is none."
)
NO_EDGE = "It runs on into the limb's own form, so its volume is rough."
PEAK_MEANS: dict[Kind, str] = {
    "bulge": "how far it stands out",
    "hollow": "how deep it is",
    "ridge": "smallest radius of curvature",
    "crease": "how deep it is",
    "inverted taper": "girth lost towards the trunk",
    "step": "change of girth within 30 mm",
}
ADVICE: dict[Kind, str] = {
    "bulge": "may need padding round it or more pressure on it",
    "hollow": "fill it, or the bandage bridges",
    "ridge": "protect it: pressure is higher here",
    "crease": "pad lengthwise and keep bandage edges off",
    "inverted taper": "build up the narrow part: a wrap slides here and presses more towards the trunk",
    "step": "even out with padding: bandage edges gape or cut in here",
}
_FLANK_ROWS = 2
# A dip that is half as deep over no more than this much of height is a fold (ours).
_FOLD_TALL_MM = 45.0
# A place that lies by this share on the rim of another, and is less certain by this factor, is its echo
# (ours).
_ON_RIM, _ECHO = 0.25, 0.7
# A place changes the girth up to so many rows beyond its own ends: 40 mm.
_GIRTH_REACH_ROWS = 5
# Beyond the usual form a place is listed from this certainty on: drawn bodies that had no say in the range go
# beyond it by less, but for a few (ours).
_SURE_BEYOND_USUAL = 1.3
_LEAST_MM = 1e-6
_WHOLE: tuple[Kind, ...] = ("ridge", "inverted taper")


def find_regions(
    limb: Limb, differences: tuple[Difference, ...] = (), limits: Limits | None = None
) -> tuple[Region, ...]:
    """List the places of a limb that may need padding.

    Parameters
    ----------
    limb
        The limb.
    differences
        Its difference charts to other limbs or earlier visits.
    limits
        From what size on a place is listed.

    Returns
    -------
    One a place, the most certain first.
    """
    limits = limits or Limits()
    chart = limb_chart(limb)
    # all searches together may be wrong once in so many limbs
    share = FALSE_SHARE / (1 + len(differences))
    searches = [difference_search(chart, one, limits, share) for one in differences]
    searches += own_searches(limb, chart, limits, share)
    parts = segments(limb, find_landmarks(limb))
    found = [
        _Found(search, mask, peak)
        for search in searches
        for mask, peak in _listed(search, chart, limb.kind == "leg")
    ]
    return one_each(_described(limb, chart, parts, one) for one in _without_echoes(found))


@dataclass(frozen=True)
class _Found:
    """A region before it is measured: where it was found, (Z, T) as drawn, and as measured."""

    search: Search
    mask: Mask
    peak: Peak

    @property
    def certainty(self) -> float:
        """See :class:`digitise.care.padding.region.Region`."""
        shape = self.mask.shape
        value = np.broadcast_to(self.search.map.value, shape)[self.mask]
        noise = self.search.critical * np.broadcast_to(self.search.map.sd, shape)[self.mask]
        return float(np.max(value / np.maximum(noise, max(self.search.threshold, _LEAST_MM))))


def _without_echoes(found: list[_Found]) -> list[_Found]:
    """Return regions without those that a greater one beside them makes.

    Beside a deep fold the limb seems to stand out, for the fold bends what the limb is held against.  So that
    is fitted anew without the greater places: what then no longer stands out goes, and so does what lies on
    the rim of a greater place that is much more certain.
    """
    kept: list[_Found] = []
    for one in sorted(found, key=lambda region: -region.certainty):
        if one.search.reference == USUAL and one.certainty < _SURE_BEYOND_USUAL:
            continue
        taper, level = one.search.taper, one.search.level
        greater = [other for other in kept if other.search.taper is not None]
        if taper is not None and level is not None and greater:
            rims = [with_rim(other.peak.foot, taper.theta, taper.z) for other in greater]
            if any(
                one.certainty < _ECHO * other.certainty and _covers(rim, one.mask)
                for other, rim in zip(greater, rims, strict=True)
            ):
                continue
            left_out = np.logical_or.reduce(rims)
            value = np.where(one.mask & ~left_out, taper.without(left_out).stand_out(level), -np.inf)
            if not ((value > one.search.threshold) & (value > one.search.critical * one.search.map.sd)).any():
                continue
        if any(_changes_girth(other, one) for other in greater):
            continue
        kept.append(one)
    return kept


def _changes_girth(place: _Found, change: _Found) -> bool:
    """Tell whether a fall or step of girth is no more than what a place beyond the usual form makes."""
    if place.search.reference != USUAL or change.search.kind not in ("inverted taper", "step"):
        return False
    rows = ndimage.binary_dilation(np.asarray(place.mask.any(axis=1)), iterations=_GIRTH_REACH_ROWS)
    return bool((rows & change.mask.any(axis=1)).any())


def _covers(rim: Mask, mask: Mask) -> bool:
    return bool(np.count_nonzero(rim & mask) > _ON_RIM * np.count_nonzero(mask))


def _described(limb: Limb, chart: Chart, parts: tuple[Segment, ...], one: _Found) -> Region:
    size = measure(one.search, chart, one.mask, one.peak)
    share = float(one.mask.any(axis=0).mean())
    words = _Words(
        place_words(limb, parts, size.theta, share, (size.from_mm, size.to_mm)),
        segment_name(parts, size.height_mm),
        f"{_peak_direction(limb, one.search, size)}, {size.peak_height_mm:.0f} mm",
    )
    return _region(one, chart, size, words)


def _peak_direction(limb: Limb, search: Search, size: Size) -> str:
    whole_girths = search.map.value.shape[1] == 1
    return "all round" if whole_girths else direction_words(limb, size.peak_theta)


def _listed(search: Search, chart: Chart, is_leg: bool) -> list[tuple[Mask, Peak]]:
    """Return all regions of a map, the highest first: (Z, T) as drawn, and as measured."""
    value = search.map.value
    seeds = (value > search.threshold) & (value > search.critical * search.map.sd)
    taken: Mask = np.zeros_like(seeds)
    found = []
    for seed in tops(value, seeds):
        if (seed & taken).any():
            continue
        foot = grown(value, seed, FOOT * float(value[seed].max())) & ~taken
        if search.kind == "inverted taper":
            # above its narrowest place the limb widens again
            foot[int(np.argmax(np.where(seed, value, -np.inf)[:, 0])) + 1 :] = False
        heel = is_leg and search.kind == "inverted taper" and _is_heel(chart, foot)
        if not heel and not (search.taper is not None and _at_end(value, seed)):
            level = chart.h if search.level is None else search.level
            peak = settle(level, Peak(value, foot, search.taper), seed, taken)
            drawn = peak.foot if search.kind in _WHOLE else peak.foot & (peak.value > search.drawn)
            found.append((_all_round(drawn, chart), peak))
        taken |= foot
    return found


def _all_round(mask: Mask, chart: Chart) -> Mask:
    return np.broadcast_to(mask, chart.h.shape).copy()


def _at_end(value: Array, seed: Mask) -> bool:
    """Tell whether a peak is seen from one side only: then it may be the limb's own way to go on."""
    row = int(np.argmax(np.where(seed, value, -np.inf).max(axis=1)))
    return row < _FLANK_ROWS or row >= len(value) - _FLANK_ROWS


def _is_heel(chart: Chart, fall: Mask) -> bool:
    rows = np.flatnonzero(fall.any(axis=1))
    return bool(rows[0] <= 1 and chart.z[rows[-1]] < HEEL_BELOW_MM)


@dataclass(frozen=True)
class _Words:
    place: str
    segment: str
    peak_place: str


def _region(one: _Found, chart: Chart, size: Size, words: _Words) -> Region:
    search, mask = one.search, one.mask
    low = search.map.value - search.critical * search.map.sd
    clear = bool((np.broadcast_to(low, mask.shape)[mask] > search.threshold).any())
    kind: Kind = "crease" if _is_fold(search, chart, one.peak, size) else search.kind
    lift = outer_lift(chart.h, float(chart.z[1] - chart.z[0])) if kind in ("hollow", "crease") else None
    row = int(np.argmin(np.abs(chart.z - size.peak_height_mm)))
    column = round(size.peak_theta / chart.turn_step) % len(chart.theta)
    press = chart.h[row].mean() / max(float(chart.radius[row, column]), _LEAST_MM)
    return Region(
        kind=kind,
        place=words.place,
        segment=words.segment,
        peak_place=words.peak_place,
        theta=size.theta,
        height_mm=size.height_mm,
        peak_theta=size.peak_theta,
        peak_height_mm=size.peak_height_mm,
        from_mm=size.from_mm,
        to_mm=size.to_mm,
        area_cm2=size.area_cm2,
        peak_mm=size.peak,
        peak_sd_mm=size.peak_sd,
        ratio=size.ratio,
        volume_ml=size.volume_ml if kind in ("bulge", "hollow") else None,
        volume_sd_ml=size.volume_sd_ml if kind in ("bulge", "hollow") else None,
        confidence="clear" if clear else "likely",
        why=_why(search, kind, size) + _rough(one.peak),
        certainty=one.certainty,
        bridge_mm=None if lift is None else float(lift[mask].max()),
        press_ratio=min(float(press), SHARPEST) if kind in ("bulge", "ridge") else None,
        by_difference=search.by_difference,
        mask=mask,
    )


def _is_fold(search: Search, chart: Chart, peak: Peak, size: Size) -> bool:
    """Tell whether what lies below the usual form is a fold: short along the limb."""
    if search.kind != "hollow" or search.reference != USUAL:
        return False
    column = round(size.peak_theta / chart.turn_step) % len(chart.theta)
    deep = np.flatnonzero(peak.value[:, column] > size.peak / 2)
    return bool(len(deep)) and float(chart.z[deep[-1]] - chart.z[deep[0]]) <= _FOLD_TALL_MM


def _rough(peak: Peak) -> str:
    return "" if peak.taper is None or peak.settled else f" {NO_EDGE}"


def _why(search: Search, kind: Kind, size: Size) -> str:
    peak, beyond = size.peak, f"more than {search.threshold:.0f} mm and more than noise explains"
    match kind:
        case "bulge":
            return f"It stands out {peak:.0f} mm beyond {search.reference}, {beyond}."
        case "hollow":
            return f"It lies {peak:.0f} mm below {search.reference}, {beyond}."
        case "ridge":
            assert size.ratio is not None
            times = f"{'at least ' if size.ratio >= SHARPEST else ''}{size.ratio:.1f} times"
            return f"Its radius is {peak:.0f} mm, so a layer presses {times} the section's mean."
        case "crease":
            return f"It lies {peak:.1f} mm below {search.reference}, {beyond}."
        case "inverted taper":
            return f"Girth falls by {peak:.0f} mm towards the trunk, {beyond}."
    return f"Girth changes by {peak:.0f} mm within 30 mm of height, {beyond}."
