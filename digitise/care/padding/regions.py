"""Places that may need padding: found on the maps, measured, put into words.

A region starts where its map exceeds both threshold and noise, or on a leg where a place is needed beside all
that usual legs do (:mod:`digitise.care.padding.usual.evidence`), and grows downhill.  It is drawn, and named
by its heights, down to half the threshold (a difference down to its threshold).  Its volume is counted as far
as a twentieth of its peak; beyond the limb's own taper as far as it can be told from what its surroundings
alone would be, see :mod:`digitise.care.padding.peaks`.  Outlines show a limb as convex round each section: a
dent behind a convex edge is not seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.padding.found import Found, found_on, without_echoes
from digitise.care.padding.maps import (
    Difference,
    Kind,
    Limits,
    Search,
    difference_search,
    own_searches,
)
from digitise.care.padding.noise import FALSE_SHARE
from digitise.care.padding.peaks import Peak
from digitise.care.padding.places import one_each
from digitise.care.padding.region import Region
from digitise.care.padding.region_size import Size, measure
from digitise.care.padding.usual.fit import USUAL
from digitise.care.surface.chart import SHARPEST, Chart, limb_chart
from digitise.care.surface.landmarks import find_landmarks
from digitise.care.surface.place_words import direction_words, place_words, segment_name, segments
from digitise.care.surface.segments import Segment
from digitise.care.surface.taper import outer_lift
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
# A dip that is half as deep over no more than this much of height is a fold (ours).
_FOLD_TALL_MM = 45.0
_LEAST_MM = 1e-6


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
    found = [one for search in searches for one in found_on(search, chart, is_leg=limb.kind == LimbKind.LEG)]
    return one_each(_described(limb, chart, parts, one) for one in without_echoes(found))


def _described(limb: Limb, chart: Chart, parts: tuple[Segment, ...], one: Found) -> Region:
    size = measure(one.search, chart, one.mask, one.peak)
    if one.sighting is not None:
        # the top of a flat place wanders, and a fit follows it; where and how high it is likeliest do less
        there, high = one.sighting, one.sighting.height_mm
        size = replace(
            size, peak_theta=there.theta, peak_height_mm=there.z, peak=high, peak_sd=high / there.score
        )
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


@dataclass(frozen=True)
class _Words:
    place: str
    segment: str
    peak_place: str


def _region(one: Found, chart: Chart, size: Size, words: _Words) -> Region:
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
