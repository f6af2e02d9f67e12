"""The maps in which places for padding are looked for, each with its noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.stats import norm

from digitise.care.change import Change
from digitise.care.chart import Chart, curving, draw_coefficients
from digitise.care.noise import DRAWS, FALSE_SHARE, SEED, NoisyMap, multiplier, noisy_map
from digitise.care.taper import outer_lift, own_taper, sagitta
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.limb import Limb

Kind = Literal["bulge", "hollow", "ridge", "crease", "inverted taper", "step"]

OWN_TAPER = "the limb's own smooth taper"
OUTER_TAPER = "a taut sheet along the limb"
ROUND_SECTION = "the mean radius of its section"
STRAIGHT_EDGE = "a straight edge of 60 mm along the limb"
GIRTH_BELOW = "the greatest girth below"
GIRTH_NEAR = "the girth 30 mm further down"

_EDGE_MM = 60.0
_STEP_OVER_MM = 30.0
_FALL_SCALE_MM = 100.0
_HOLLOW_SCALE_MM = 50.0
# Draws need every second column only: six harmonics have no detail between.
_EVERY = 2
# A few lengths of bridges instead of all: on noise their greatest lift is 8 % less (100 drawn cones).
_COARSE_READS_LOW = 1.1
# The sheet takes the greatest of many chords, so its noise reaches further out than a single chord's does;
# with this factor hollows need no larger multiplier than the other maps, which would have to share it.
_MANY_CHORDS = 1.2
# Real changes are alike over some 70 mm and there are 13 harmonic terms: so many independent places.
_ALIKE_MM = 70.0
_TERMS = 13


@dataclass(frozen=True)
class Limits:
    """From what size on a place is listed; all ours, every number may be changed.

    Attributes
    ----------
    bulge_mm
        Beyond the limb's own smooth taper, which is a rough reference.
    difference_mm
        Beyond another limb or an earlier visit.
    hollow_mm
        Below a taut sheet along the limb.
    ridge_ratio
        Mean radius of the section over local radius.
    crease_mm
        Below a straight edge of 60 mm along the limb.
    fall_mm
        Girth lost towards the trunk.
    step_mm
        Change of girth within 30 mm of height; a calf's steepest is some 40 mm.
    """

    bulge_mm: float = 5.0
    difference_mm: float = 3.0
    hollow_mm: float = 6.0
    ridge_ratio: float = 1.6
    crease_mm: float = 3.0
    fall_mm: float = 15.0
    step_mm: float = 55.0


@dataclass(frozen=True)
class Difference:
    """By how much a limb stands out beyond another one, or beyond itself at an earlier visit.

    Attributes
    ----------
    reference
        What it is compared with, in words (``the other leg``, ``the visit of 3 May``).
    theta
        (T,) equal directions from 0 once round, radians, in the limb's axis frame.
    z
        (Z,) increasing heights, mm.
    dh, sd
        (Z, T) limb minus reference and its standard deviation, mm.
    critical
        How many sd are more than noise anywhere on the chart; found from the chart's size when None.
    """

    reference: str
    theta: Array
    z: Array
    dh: Array
    sd: Array
    critical: float | None = None


@dataclass(frozen=True)
class Search:
    """One map to be searched.

    Attributes
    ----------
    kind, reference
        What is looked for, and beyond what.
    map
        (Z, T), or (Z, 1) for what concerns whole girths.
    threshold, critical
        A place is listed where the map exceeds both ``threshold`` and ``critical`` times its sd.
    drawn
        Down to which value a region is drawn.  A swelling that reaches all over a limb has no edge of its
        own, so differences are drawn at their threshold, all else at half of it.
    """

    kind: Kind
    reference: str
    map: NoisyMap
    threshold: float
    critical: float
    drawn: float


def own_searches(limb: Limb, chart: Chart, limits: Limits) -> tuple[Search, ...]:
    """Return all maps of a limb taken by itself."""
    harmonics = limb.basis.harmonics
    drawn = draw_coefficients(limb, chart.z, DRAWS, SEED)
    flat = drawn.reshape(-1, drawn.shape[2])
    moved = (flat @ fourier(chart.theta, harmonics).T).reshape(*drawn.shape[:2], -1)
    half = fourier(chart.theta[::_EVERY], harmonics)
    bent = ((flat * curving(harmonics)) @ half.T).reshape(*drawn.shape[:2], -1)
    girth = 2 * np.pi * chart.h.mean(axis=1)
    girths = 2 * np.pi * drawn[:, :, :1]
    maps: tuple[tuple[Kind, str, NoisyMap, float], ...] = (
        ("bulge", OWN_TAPER, _bulge(chart, moved), limits.bulge_mm),
        ("hollow", OUTER_TAPER, _hollow(chart, moved[:, :, ::_EVERY]), limits.hollow_mm),
        ("ridge", ROUND_SECTION, _ridge(chart, drawn[:, :, :1], bent, limits.ridge_ratio), 0.0),
        ("crease", STRAIGHT_EDGE, _crease(chart, moved[:, :, ::_EVERY]), limits.crease_mm),
        ("inverted taper", GIRTH_BELOW, _fall(chart, girth, girths), limits.fall_mm),
        ("step", GIRTH_NEAR, _step(chart, girth, girths), limits.step_mm),
    )
    critical = multiplier(tuple(one for _, _, one, _ in maps))
    return tuple(
        Search(kind, reference, one, least, critical, least / 2) for kind, reference, one, least in maps
    )


def _rows(chart: Chart, length: float) -> int:
    return max(1, round(length / float(chart.z[1] - chart.z[0])))


def _bulge(chart: Chart, moved: Array) -> NoisyMap:
    taper = own_taper(chart.theta, chart.z, chart.h)
    return noisy_map(taper.stand_out(chart.h), taper.stand_out(moved)[:, :, ::_EVERY])


def _hollow(chart: Chart, moved: Array) -> NoisyMap:
    step = float(chart.z[1] - chart.z[0])
    # noise lifts the sheet most off a straight taper, so its draws are laid on that
    deviation = _COARSE_READS_LOW * outer_lift(moved, step, coarse=True)
    # often exactly zero: measured against how uncertain the bending along the limb is in that direction
    rows = min(_rows(chart, _HOLLOW_SCALE_MM), (len(chart.z) - 1) // 2)
    usual = np.sqrt(np.mean(sagitta(moved, rows) ** 2, axis=0))
    # no straight edge fits at the ends: as uncertain as the nearest place where one does
    nearest = np.clip(np.arange(len(usual)), rows, max(rows, len(usual) - rows - 1))
    return noisy_map(outer_lift(chart.h, step), deviation, _MANY_CHORDS * usual[nearest])


def _ridge(chart: Chart, mean_radius: Array, bent: Array, ratio: float) -> NoisyMap:
    value = chart.h.mean(axis=1, keepdims=True) - ratio * chart.radius
    return noisy_map(value, mean_radius - ratio * bent)


def _crease(chart: Chart, moved: Array) -> NoisyMap:
    rows = _rows(chart, _EDGE_MM / 2)
    return noisy_map(sagitta(chart.h, rows), sagitta(moved, rows))


def _fall(chart: Chart, girth: Array, girths: Array) -> NoisyMap:
    def lost(profile: Array) -> Array:
        return np.asarray(np.maximum.accumulate(profile, axis=-2) - profile)

    value = lost(girth[:, None])
    rows = min(_rows(chart, _FALL_SCALE_MM), len(girth) - 1)
    usual = np.sqrt(np.mean((girths[:, rows:] - girths[:, :-rows]) ** 2))
    # as with hollows: noise loses most girth on a limb without any taper
    return noisy_map(value, lost(girths), np.full_like(value, usual))


def _step(chart: Chart, girth: Array, girths: Array) -> NoisyMap:
    rows = _rows(chart, _STEP_OVER_MM / 2)
    over = 2 * rows * float(chart.z[1] - chart.z[0])

    def change(profile: Array) -> Array:
        out = np.zeros_like(profile)
        out[..., rows:-rows, :] = profile[..., 2 * rows :, :] - profile[..., : -2 * rows, :]
        return np.abs(out) * (_STEP_OVER_MM / over)

    value = change(girth[:, None])
    return noisy_map(value, change(girth[:, None] + girths) - value)


def standing_out(change: Change, reference: str) -> Difference:
    """Return by how much the first limb of a comparison stands out beyond the second.

    Parameters
    ----------
    change
        Of this limb against the other limb (mirrored) or against itself at another visit.
    reference
        What the second limb is, in words.
    """
    chart = change.chart
    return Difference(reference, chart.theta, chart.z, -chart.change_mm.mean, chart.change_mm.sd)


def difference_search(chart: Chart, difference: Difference, limits: Limits) -> Search:
    """Return the map of a difference chart, brought onto the limb's own chart."""
    value, sd = (_onto(chart, difference, values) for values in (difference.dh, difference.sd))
    critical = _independent(difference) if difference.critical is None else difference.critical
    empty = np.zeros((0, *value.shape))
    return Search(
        "bulge",
        difference.reference,
        NoisyMap(value, empty, sd),
        limits.difference_mm,
        critical,
        limits.difference_mm,
    )


def _onto(chart: Chart, difference: Difference, values: Array) -> Array:
    """Interpolate values (Z, T) of a difference at the chart's places; nothing stands out beyond it."""
    theta = np.append(difference.theta, 2 * np.pi)
    closed = np.concatenate([values, values[:, :1]], axis=1)
    field = RegularGridInterpolator((difference.z, theta), closed, bounds_error=False, fill_value=0.0)
    return np.asarray(field(tuple(np.meshgrid(chart.z, chart.theta, indexing="ij"))))


def _independent(difference: Difference) -> float:
    """Return the Bonferroni multiplier for the number of places that change by themselves."""
    places = max(1.0, (difference.z[-1] - difference.z[0]) / _ALIKE_MM) * _TERMS
    return float(norm.isf(FALSE_SHARE / places))
