"""What stands out on the maps: seeds, how far each reaches, and which of them are echoes of others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from digitise.care.padding.maps import Kind, Search
from digitise.care.padding.peaks import FOOT, Peak, grown, settle, tops
from digitise.care.padding.usual.evidence import Sighting
from digitise.care.padding.usual.fit import USUAL
from digitise.care.padding.usual.pursuit import LEAST_SCORE
from digitise.care.surface.chart import Chart, Mask
from digitise.care.surface.landmarks import HEEL_BELOW_MM
from digitise.care.surface.taper import with_rim
from digitise.geometry.rigid import Array

_FLANK_ROWS = 2
# A place that lies by this share on the rim of another, and is less certain by this factor, is its echo
# (ours).
_ON_RIM, _ECHO = 0.25, 0.7
# A place changes the girth up to so many rows beyond its own ends: 40 mm.
_GIRTH_REACH_ROWS = 5
# What is sighted is placed to 5 mm (rms, drawn legs): its top is within this.
_NEAR_MM, _NEAR_TURN = 12.0, 0.2
# What is sighted stands out from the fit of the usual form by at least this share of its height: what a fit
# does not know of at all is an error of the sighting (by trial: at a half, one place in twelve is lost).
_AGREE = 0.3
_WHOLE: tuple[Kind, ...] = ("ridge", "inverted taper")
_LEAST_MM = 1e-6


@dataclass(frozen=True)
class Found:
    """A region before it is measured: where it was found, (Z, T) as drawn, and as measured."""

    search: Search
    mask: Mask
    peak: Peak
    sighting: Sighting | None = None

    @property
    def certainty(self) -> float:
        """See :class:`digitise.care.padding.region.Region`."""
        if self.sighting is not None:
            return self.sighting.score / LEAST_SCORE
        shape = self.mask.shape
        value = np.broadcast_to(self.search.map.value, shape)[self.mask]
        noise = self.search.critical * np.broadcast_to(self.search.map.sd, shape)[self.mask]
        return float(np.max(value / np.maximum(noise, max(self.search.threshold, _LEAST_MM))))


def without_echoes(found: list[Found]) -> list[Found]:
    """Return regions without those that a greater one beside them makes.

    Beside a deep fold the limb seems to stand out, for the fold bends what the limb is held against.  So that
    is fitted anew without the greater places: what then no longer stands out goes, and so does what lies on
    the rim of a greater place that is much more certain.
    """
    kept: list[Found] = []
    for one in sorted(found, key=lambda region: -region.certainty):
        if one.sighting is not None:
            kept.append(one)  # it was judged beside all others
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


def _changes_girth(place: Found, change: Found) -> bool:
    """Tell whether a fall or step of girth is no more than what a place beyond the usual form makes."""
    if place.search.reference != USUAL or change.search.kind not in ("inverted taper", "step"):
        return False
    rows = ndimage.binary_dilation(np.asarray(place.mask.any(axis=1)), iterations=_GIRTH_REACH_ROWS)
    return bool((rows & change.mask.any(axis=1)).any())


def _covers(rim: Mask, mask: Mask) -> bool:
    return bool(np.count_nonzero(rim & mask) > _ON_RIM * np.count_nonzero(mask))


def found_on(search: Search, chart: Chart, *, is_leg: bool) -> list[Found]:
    """Return the regions of a map: what was sighted, or else all that exceeds its threshold and noise."""
    return _listed(search, chart, is_leg) if search.sighted is None else _sighted(search, chart)


def _sighted(search: Search, chart: Chart) -> list[Found]:
    """Return the regions of a map about what was sighted, the likeliest first."""
    assert search.taper is not None
    assert search.level is not None
    taken: Mask = np.zeros(chart.h.shape, bool)
    found = []
    for sighting in search.sighted or ():
        about = _about(sighting, chart)
        # the fit of the usual form followed it a little: held against what the rest of the limb gives
        rest = search.taper.without(with_rim(about, chart.theta, chart.z))
        value = rest.stand_out(search.level)
        seed = about & (value == np.max(value[about]))
        if (seed & taken).any() or _at_end(value, seed) or value[seed].max() < _AGREE * sighting.height_mm:
            continue
        foot = grown(value, seed, FOOT * float(value[seed].max())) & ~taken
        peak = settle(search.level, Peak(value, foot, rest), seed, taken)
        drawn = peak.foot & (peak.value > min(search.drawn, float(peak.value[seed].max()) / 2))
        found.append(Found(search, drawn | seed, peak, sighting))
        taken |= foot
    return found


def _about(sighting: Sighting, chart: Chart) -> Mask:
    """Return the places (Z, T) within reach of how well a sighting is placed."""
    turn = np.abs(np.angle(np.exp(1j * (chart.theta - sighting.theta)))) <= _NEAR_TURN
    rows = np.abs(chart.z - sighting.z) <= _NEAR_MM
    rows[np.argmin(np.abs(chart.z - sighting.z))] = True
    return np.asarray(rows[:, None] & turn)


def _listed(search: Search, chart: Chart, is_leg: bool) -> list[Found]:
    """Return all regions of a map, the highest first."""
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
            found.append(Found(search, _all_round(drawn, chart), peak))
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
