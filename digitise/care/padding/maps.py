"""The maps in which places for padding are looked for, each with its noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from scipy.special import ndtri

from digitise.care.change.compare import Change
from digitise.care.change.joint_posterior import Joint
from digitise.care.padding.form_maps import bulge_map, crease_map, fall_map, hollow_map, ridge_map, step_map
from digitise.care.padding.noise import DRAWS, FALSE_SHARE, SEED, NoisyMap, multiplier, noisy_map
from digitise.care.padding.usual.evidence import Sighting, sightings
from digitise.care.padding.usual.fit import USUAL, UsualFit, fit_usual, missed_mm
from digitise.care.surface.chart import Chart, curving, draw, draw_coefficients
from digitise.care.surface.taper import Taper, own_taper
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.limb import Limb

Kind = Literal["bulge", "hollow", "ridge", "crease", "inverted taper", "step"]
_Map = tuple[Kind, str, NoisyMap, float]

OWN_TAPER = "the limb's own smooth taper"
OUTER_TAPER = "a taut sheet along the limb"
ROUND_SECTION = "the mean radius of its section"
STRAIGHT_EDGE = "a straight edge of 60 mm along the limb"
GIRTH_BELOW = "the greatest girth below"
GIRTH_NEAR = "the girth 30 mm further down"

# Draws need every second column only: six harmonics have no detail between.
_EVERY = 2
# Real changes are alike over some 70 mm and there are 13 harmonic terms: so many independent places.
_ALIKE_MM = 70.0
_TERMS = 13
# So many times what usual limbs are away from their own fit is not of that range: their tails are heavier
# than a normal distribution's (ours; what it lets through was counted on limbs that had no say in the range).
_BEYOND_USUAL = 3.0


@dataclass(frozen=True)
class Limits:
    """From what size on a place is listed; all ours, every number may be changed.

    Attributes
    ----------
    usual_mm
        Beyond or below what limbs usually are.
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

    usual_mm: float = 4.0
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
    drawn
        (D, Z, T') how limbs drawn from the belief deviate, on every (T / T')-th column; they tell how many sd
        are more than noise anywhere on the chart.  Without them that is found from the chart's size.
    """

    reference: str
    theta: Array
    z: Array
    dh: Array
    sd: Array
    drawn: Array | None = None


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
    taper, moved, level
        What the map counts from where that is fitted to the limb itself; (D, Z, T / 2) how drawn limbs
        deviate from the limb; and (Z, T) what it was fitted to, outward where the map looks for what stands
        out.
    by_difference
        The limb is held against another one or another visit.
    sighted
        The places of this map that are to be listed, the likeliest first, where something else than the map
        tells them; None where the map itself does.
    """

    kind: Kind
    reference: str
    map: NoisyMap
    threshold: float
    critical: float
    drawn: float
    taper: Taper | None = None
    moved: Array | None = None
    level: Array | None = None
    by_difference: bool = False
    sighted: tuple[Sighting, ...] | None = None


def own_searches(limb: Limb, chart: Chart, limits: Limits, share: float = FALSE_SHARE) -> tuple[Search, ...]:
    """Return all maps of a limb taken by itself; noise alone goes beyond them in ``share`` of limbs."""
    harmonics = limb.basis.harmonics
    drawn = draw_coefficients(limb, chart.z, DRAWS, SEED)
    flat = drawn.reshape(-1, drawn.shape[2])
    half = fourier(chart.theta[::_EVERY], harmonics)
    moved = (flat @ half.T).reshape(*drawn.shape[:2], -1)
    bent = ((flat * curving(harmonics)) @ half.T).reshape(*drawn.shape[:2], -1)
    girth = 2 * np.pi * chart.h.mean(axis=1)
    girths = 2 * np.pi * drawn[:, :, :1]
    taper = own_taper(chart.theta, chart.z, chart.h)
    usual = fit_usual(limb, chart)
    # what its own taper describes better, a cone say, has nothing of a leg's form to be told apart from
    if usual is not None and usual.missed_mm > missed_mm(taper.stand_out(chart.h)):
        usual = None
    fall = fall_map(chart, girth, girths)
    whole: tuple[_Map, ...] = (
        ("ridge", ROUND_SECTION, ridge_map(chart, drawn[:, :, :1], bent, limits.ridge_ratio), 0.0),
        ("inverted taper", GIRTH_BELOW, fall if usual is None else _beyond(fall, usual.fall), limits.fall_mm),
        ("step", GIRTH_NEAR, step_map(chart, girth, girths), limits.step_mm),
    )
    if usual is not None:
        # the shin's crest and the tendon at the heel are of the usual form: sharper ones stand out as bulges
        seen = sightings(limb, usual, limits.usual_mm)
        return _against_usual(usual, moved, whole[1:], seen, limits, share)
    maps: tuple[_Map, ...] = (
        ("bulge", OWN_TAPER, bulge_map(taper, chart.h, moved), limits.bulge_mm),
        ("hollow", OUTER_TAPER, hollow_map(chart, moved), limits.hollow_mm),
        ("crease", STRAIGHT_EDGE, crease_map(chart, moved), limits.crease_mm),
        *whole,
    )
    critical = multiplier(tuple(one for _, _, one, _ in maps), share)
    bulge, *others = (_search(one, critical) for one in maps)
    return (replace(bulge, taper=taper, moved=moved, level=chart.h), *others)


def _against_usual(
    usual: UsualFit,
    moved: Array,
    whole: tuple[_Map, ...],
    seen: tuple[Sighting, ...],
    limits: Limits,
    share: float,
) -> tuple[Search, ...]:
    """Return the maps of a limb held against what limbs usually are: one for each sense, and the rest."""
    out = bulge_map(usual.taper, usual.level, moved)
    inward = NoisyMap(-out.value, -out.deviation, out.sd, noisy_map(-out.value, -out.deviation).greatest)
    critical = multiplier((out, inward, *(one for _, _, one, _ in whole)), share)
    found: list[Search] = []
    senses: tuple[tuple[Kind, NoisyMap, Array], ...] = (
        ("bulge", out, usual.level),
        ("hollow", inward, -usual.level),
    )
    for kind, one, level in senses:
        sd = np.hypot(one.sd, _BEYOND_USUAL / critical * usual.spread)
        search = _search((kind, USUAL, replace(one, sd=sd), limits.usual_mm), critical)
        own = tuple(each for each in seen if each.kind == kind)
        found.append(replace(search, taper=usual.taper, moved=moved, level=level, sighted=own))
    return (*found, *(_search(one, critical) for one in whole))


def _search(one: _Map, critical: float) -> Search:
    kind, reference, noisy, least = one
    return Search(kind, reference, noisy, least, critical, least / 2)


def _beyond(fall: NoisyMap, usual: Array) -> NoisyMap:
    return replace(fall, value=np.maximum(fall.value - usual[:, None], 0.0))


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
    drawn = _draw_difference(change.joint, chart.theta[::_EVERY], chart.z)
    return Difference(reference, chart.theta, chart.z, -chart.change_mm.mean, chart.change_mm.sd, drawn)


def _draw_difference(joint: Joint, theta: Array, z: Array) -> Array:
    """Return (D, Z, T) how first minus second limb deviates in limbs drawn from the joint belief, mm."""
    drawn = draw(joint.covariance, DRAWS, SEED)
    first, second = (
        _heights_of(limb, part, theta, z)
        for limb, part in zip((joint.a, joint.b), np.split(drawn, [joint.a.basis.size], axis=1), strict=True)
    )
    return first - second


def _heights_of(limb: Limb, parameters: Array, theta: Array, z: Array) -> Array:
    basis = limb.basis
    along = parameters.reshape(-1, basis.n_splines) @ basis.splines(z).T
    harmonics = along.reshape(len(parameters), basis.n_terms, len(z)).transpose(0, 2, 1)
    return np.asarray(harmonics @ fourier(theta, basis.harmonics).T)


def difference_search(
    chart: Chart, difference: Difference, limits: Limits, share: float = FALSE_SHARE
) -> Search:
    """Return the map of a difference chart, brought onto the limb's own chart."""
    value, sd = (_onto(chart, difference, values) for values in (difference.dh, difference.sd))
    if difference.drawn is None:
        found = NoisyMap(value, np.zeros((0, *value.shape)), sd, np.zeros(0))
        critical = _independent(difference, share)
    else:
        found, critical = _with_draws(chart, difference, difference.drawn, value, share)
    least = limits.difference_mm
    return Search("bulge", difference.reference, found, least, critical, least, by_difference=True)


def _with_draws(
    chart: Chart, difference: Difference, drawn: Array, value: Array, share: float
) -> tuple[NoisyMap, float]:
    noisy = noisy_map(difference.dh, drawn)
    sd = _onto(chart, difference, noisy.sd)
    every = difference.dh.shape[1] // drawn.shape[2]
    thin = replace(difference, theta=difference.theta[::every])
    deviation = np.moveaxis(_onto(chart, thin, np.moveaxis(drawn, 0, -1)), -1, 0)[:, :, ::_EVERY]
    return NoisyMap(value, deviation, sd, noisy.greatest), multiplier((noisy,), share)


def _onto(chart: Chart, difference: Difference, values: Array) -> Array:
    """Interpolate values (Z, T, ...) of a difference at the chart's places; nothing stands out beyond it."""
    theta = np.append(difference.theta, 2 * np.pi)
    closed = np.concatenate([values, values[:, :1]], axis=1)
    field = RegularGridInterpolator((difference.z, theta), closed, bounds_error=False, fill_value=0.0)
    return np.asarray(field(tuple(np.meshgrid(chart.z, chart.theta, indexing="ij"))))


def _independent(difference: Difference, share: float) -> float:
    """Return the Bonferroni multiplier for the number of places that change by themselves."""
    places = max(1.0, (difference.z[-1] - difference.z[0]) / _ALIKE_MM) * _TERMS
    return -float(ndtri(share / places))
