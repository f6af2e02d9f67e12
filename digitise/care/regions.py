"""Places that may need padding: found on the maps, measured, put into words.

A region starts where its map exceeds both threshold and noise, and grows downhill.  It is drawn, and named by
its heights, down to half the threshold (a difference down to its threshold); its volume is counted as far as
a twentieth of its peak, because foam thins out to nothing beyond the line.  Outlines show a limb as convex
round each section: a dent behind a convex edge is not seen.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from scipy import ndimage

from digitise.care.chart import Chart, Mask, connected, limb_chart
from digitise.care.landmarks import HEEL_BELOW_MM, find_landmarks
from digitise.care.maps import OWN_TAPER, Difference, Kind, Limits, Search, difference_search, own_searches
from digitise.care.places import direction_words, place_words, stretch_name, stretches
from digitise.geometry.rigid import Array
from digitise.shape.limb import MM3_PER_ML, Limb

HIDDEN = (
    "Outlines cannot see dents hidden behind a convex edge, and see ridges only where they stand in an "
    "outline: feel the limb as well."
)
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
_FOOT = 0.05
_ROUND_SECTION_HARMONICS = 8
_UPHILL = 1.02
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
        The same of its peak.
    from_mm, to_mm
        Its lowest and highest place.
    area_cm2
        Of the limb's surface.
    peak_mm, peak_sd_mm
        See :data:`PEAK_MEANS`.
    ratio
        Local over mean pressure by Laplace; ridges only.
    volume_ml, volume_sd_ml
        Between the surface and the reference as far as a twentieth of the peak; bulges and hollows only.
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

    def as_dict(self) -> dict[str, str | float | None]:
        """Return all but the mask."""
        values = {field.name: getattr(self, field.name) for field in fields(self)}
        del values["mask"]
        return values


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
    searches = [difference_search(chart, one, limits) for one in differences]
    searches += own_searches(limb, chart, limits)
    parts = stretches(limb, find_landmarks(limb))
    found: list[Region] = []
    for search in searches:
        for mask, foot in _listed(search, chart, limb.kind == "leg"):
            size = _measure(search, chart, mask, foot)
            share = float(mask.any(axis=0).mean())
            words = _Words(
                place_words(limb, parts, size.theta, share, (size.from_mm, size.to_mm)),
                stretch_name(parts, size.height_mm),
                f"{direction_words(limb, size.peak_theta)}, {size.peak_height_mm:.0f} mm",
            )
            found.append(_region(search, mask, size, words))
    return tuple(found)


def _listed(search: Search, chart: Chart, is_leg: bool) -> list[tuple[Mask, Mask]]:
    """Return the masks (Z, T) of all regions of a map, the highest first: as drawn, and with its foot."""
    value = search.map.value
    seeds = (value > search.threshold) & (value > search.critical * search.map.sd)
    taken: Mask = np.zeros_like(seeds)
    masks = []
    for seed in sorted(connected(seeds), key=lambda one: -float(value[one].max())):
        if (seed & taken).any():
            continue
        peak = float(value[seed].max())
        foot = _grown(value, seed, _FOOT * peak) & ~taken
        if search.kind == "inverted taper":
            # above its narrowest place the limb widens again
            foot[int(np.argmax(np.where(seed, value, -np.inf)[:, 0])) + 1 :] = False
        taken |= foot
        mask = foot if search.kind in _WHOLE else foot & (value > search.drawn)
        heel = is_leg and search.kind == "inverted taper" and _is_heel(chart, foot)
        if not heel and not (search.reference == OWN_TAPER and _at_end(value, seed)):
            masks.append((_all_round(mask, chart), _all_round(foot, chart)))
    return masks


def _all_round(mask: Mask, chart: Chart) -> Mask:
    return np.broadcast_to(mask, chart.h.shape).copy()


def _at_end(value: Array, seed: Mask) -> bool:
    """Tell whether a heap is seen from one side only: then it may be the limb's own way to go on."""
    row = int(np.argmax(np.where(seed, value, -np.inf).max(axis=1)))
    return row < _FLANK_ROWS or row >= len(value) - _FLANK_ROWS


def _is_heel(chart: Chart, fall: Mask) -> bool:
    rows = np.flatnonzero(fall.any(axis=1))
    return bool(rows[0] <= 1 and chart.z[rows[-1]] < HEEL_BELOW_MM)


def _grown(value: Array, seed: Mask, least: float) -> Mask:
    """Grow a seed downhill as far as the map exceeds ``least``."""
    allowed = value > least
    mask = seed
    while True:
        inside = np.where(mask, value, -np.inf)
        above = ndimage.maximum_filter(inside, size=3, mode=("constant", "wrap"), cval=-np.inf)
        grown = mask | (allowed & (value <= _UPHILL * above))
        if grown.sum() == mask.sum():
            return mask
        mask = grown


@dataclass(frozen=True)
class _Words:
    place: str
    stretch: str
    peak_place: str


@dataclass(frozen=True)
class _Size:
    theta: float
    height_mm: float
    peak_theta: float
    peak_height_mm: float
    from_mm: float
    to_mm: float
    area_cm2: float
    peak: float
    peak_sd: float
    ratio: float | None
    volume_ml: float | None
    volume_sd_ml: float | None


def _measure(search: Search, chart: Chart, mask: Mask, foot: Mask) -> _Size:
    value = np.broadcast_to(search.map.value, mask.shape)
    sd = np.broadcast_to(search.map.sd, mask.shape)
    weight = np.where(mask, value, 0.0)
    top = np.unravel_index(int(np.argmax(np.where(mask, value, -np.inf))), mask.shape)
    rows = np.flatnonzero(mask.any(axis=1))
    peak, peak_sd, ratio = float(value[top]), float(sd[top]), None
    if search.kind == "ridge":
        mean, radius = float(chart.h[top[0]].mean()), float(chart.radius[top])
        ratio = mean / max(radius, 1e-9)
        # the map is mean radius minus a multiple of the local one
        peak, peak_sd = radius, peak_sd * radius / max(mean - peak, 1e-9)
    volume, volume_sd = _volume(search, chart, foot) if search.kind in ("bulge", "hollow") else (None, None)
    turning = np.sum(weight * np.exp(1j * chart.theta))
    return _Size(
        theta=float(np.angle(turning)),
        height_mm=float(np.sum(weight * chart.z[:, None]) / np.sum(weight)),
        peak_theta=float(chart.theta[top[1]]),
        peak_height_mm=float(chart.z[top[0]]),
        from_mm=float(chart.z[rows[0]]),
        to_mm=float(chart.z[rows[-1]]),
        area_cm2=float(chart.cell_mm2[mask].sum() / 100.0),
        peak=peak,
        peak_sd=peak_sd,
        ratio=ratio,
        volume_ml=volume,
        volume_sd_ml=volume_sd,
    )


def _volume(search: Search, chart: Chart, mask: Mask) -> tuple[float, float | None]:
    """Return the volume between surface and reference in mL, and its sd where draws tell it."""
    value = search.map.value
    sign = -1.0 if search.kind == "bulge" else 1.0
    halfway = np.maximum(chart.radius + sign * (value + _bent(value)) / 2, 0.0)
    weight = np.where(mask, halfway, 0.0) * chart.turn_step * chart.row_mm[:, None] / MM3_PER_ML
    drawn = search.map.deviation
    sd = None
    if len(drawn):
        every = value.shape[1] // drawn.shape[2]
        sd = float(np.std(drawn.reshape(len(drawn), -1) @ (every * weight[:, ::every]).ravel()))
    return float(np.sum(weight * value)), sd


def _bent(value: Array) -> Array:
    """Return the second derivative by direction of a map (Z, T), its finest ripples left out."""
    wave = np.fft.rfft(value, axis=1)
    order = np.arange(wave.shape[1])
    return np.fft.irfft(np.where(order <= _ROUND_SECTION_HARMONICS, -(order**2), 0) * wave, value.shape[1])


def _region(search: Search, mask: Mask, size: _Size, words: _Words) -> Region:
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
        why=_why(search, size),
        mask=mask,
    )


def _why(search: Search, size: _Size) -> str:
    peak, beyond = size.peak, f"more than {search.threshold:.0f} mm and more than noise explains"
    match search.kind:
        case "bulge":
            return f"It stands out {peak:.0f} mm beyond {search.reference}, {beyond}."
        case "hollow":
            return f"It lies {peak:.0f} mm below {search.reference}, {beyond}."
        case "ridge":
            return (
                f"Its radius is {peak:.0f} mm, so a layer presses {size.ratio:.1f} times the section's mean."
            )
        case "crease":
            return f"It lies {peak:.1f} mm below {search.reference}, {beyond}."
        case "inverted taper":
            return f"Girth falls by {peak:.0f} mm towards the trunk, {beyond}."
    return f"Girth changes by {peak:.0f} mm within 30 mm of height, {beyond}."
