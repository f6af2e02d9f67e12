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

from digitise.care.padding.maps import (
    OWN_TAPER,
    Difference,
    Kind,
    Limits,
    Search,
    difference_search,
    own_searches,
)
from digitise.care.padding.noise import FALSE_SHARE
from digitise.care.padding.peaks import FOOT, Peak, grown, settle, tops
from digitise.care.padding.region_size import Size, measure
from digitise.care.surface.chart import SHARPEST, Chart, Mask, limb_chart
from digitise.care.surface.landmarks import HEEL_BELOW_MM, find_landmarks
from digitise.care.surface.place_words import direction_words, place_words, stretch_name, stretches
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
    "hollow": "how deep a taut bandage would bridge",
    "ridge": "smallest radius of curvature",
    "crease": "depth below a straight edge of 60 mm",
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
_WHOLE: tuple[Kind, ...] = ("ridge", "inverted taper")


@dataclass(frozen=True)
class Region:
    """One place that may need padding.

    Attributes
    ----------
    kind
        ``bulge``, ``hollow``, ``ridge``, ``crease``, ``inverted taper`` or ``step``.
    place
        In words.
    stretch
        Name of the part of the limb.
    peak_place
        Where its peak is, in words.
    theta, height_mm
        Its middle: direction of the outward normal in radians, and height.
    peak_theta, peak_height_mm
        The same of its peak: the middle of what reaches nine tenths of it.
    from_mm, to_mm
        Its lowest and highest place.
    area_cm2
        Of the limb's surface.
    peak_mm, peak_sd_mm
        See :data:`PEAK_MEANS`.
    ratio
        Local over mean pressure by Laplace, at most
        :data:`digitise.care.surface.chart.SHARPEST`; ridges only.
    volume_ml, volume_sd_ml
        Between the surface and the reference; bulges and hollows only.  Of a bulge beyond the limb's own
        taper the sd holds what is open about that taper.
    confidence
        ``clear``: beyond threshold by more than noise; ``likely``: beyond threshold, and more than noise.
    why
        Why it is listed, one sentence.
    mask
        (Z, T) on the limb's chart.
    """

    kind: Kind
    place: str
    stretch: str
    peak_place: str
    theta: float
    height_mm: float
    peak_theta: float
    peak_height_mm: float
    from_mm: float
    to_mm: float
    area_cm2: float
    peak_mm: float
    peak_sd_mm: float
    ratio: float | None
    volume_ml: float | None
    volume_sd_ml: float | None
    confidence: str
    why: str
    mask: Mask


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
    Differences first, then kind by kind; within one, from the largest peak.
    """
    limits = limits or Limits()
    chart = limb_chart(limb)
    # all searches together may be wrong once in so many limbs
    share = FALSE_SHARE / (1 + len(differences))
    searches = [difference_search(chart, one, limits, share) for one in differences]
    searches += own_searches(limb, chart, limits, share)
    parts = stretches(limb, find_landmarks(limb))
    found: list[Region] = []
    for search in searches:
        for mask, peak in _listed(search, chart, limb.kind == "leg"):
            size = measure(search, chart, mask, peak)
            share = float(mask.any(axis=0).mean())
            words = _Words(
                place_words(limb, parts, size.theta, share, (size.from_mm, size.to_mm)),
                stretch_name(parts, size.height_mm),
                f"{_peak_direction(limb, search, size)}, {size.peak_height_mm:.0f} mm",
            )
            found.append(_region(search, mask, peak, size, words))
    return tuple(found)


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
        if not heel and not (search.reference == OWN_TAPER and _at_end(value, seed)):
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
    stretch: str
    peak_place: str


def _region(search: Search, mask: Mask, peak: Peak, size: Size, words: _Words) -> Region:
    low = search.map.value - search.critical * search.map.sd
    clear = bool((np.broadcast_to(low, mask.shape)[mask] > search.threshold).any())
    return Region(
        kind=search.kind,
        place=words.place,
        stretch=words.stretch,
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
        volume_ml=size.volume_ml,
        volume_sd_ml=size.volume_sd_ml,
        confidence="clear" if clear else "likely",
        why=_why(search, size) + _rough(peak),
        mask=mask,
    )


def _rough(peak: Peak) -> str:
    return "" if peak.taper is None or peak.settled else f" {NO_EDGE}"


def _why(search: Search, size: Size) -> str:
    peak, beyond = size.peak, f"more than {search.threshold:.0f} mm and more than noise explains"
    match search.kind:
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
