"""How large a region is: its middle, peak, area and volume, with what noise and reference leave open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.padding.maps import Search
from digitise.care.padding.peaks import FOOT, Peak, grown
from digitise.care.surface.chart import SHARPEST, Chart, Mask, connected
from digitise.geometry.rigid import Array
from digitise.shape.limb import MM3_PER_ML

_ROUND_SECTION_HARMONICS = 8
_NEAR_PEAK = 0.7


@dataclass(frozen=True)
class Size:
    """Figures of a region; units and meaning as in :class:`digitise.care.padding.regions.Region`."""

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


def measure(search: Search, chart: Chart, mask: Mask, peak: Peak) -> Size:
    """Measure a region.

    Parameters
    ----------
    search
        Where it was found.
    chart
        The limb.
    mask
        (Z, T) as it is drawn, not empty.
    peak
        What its peak and volume are measured on.
    """
    value = np.broadcast_to(peak.value, mask.shape)
    sd = np.broadcast_to(search.map.sd, mask.shape)
    weight = np.where(mask, value, 0.0)
    top = np.unravel_index(int(np.argmax(np.where(mask, value, -np.inf))), mask.shape)
    crest = _crest(value, mask)
    rows = np.flatnonzero(mask.any(axis=1))
    height, height_sd, ratio = float(value[top]), float(sd[top]), None
    if search.kind == "ridge":
        height, height_sd, ratio = _sharpness(chart, value, top, height_sd)
    volume, volume_sd = _volume(search, chart, peak) if search.kind in ("bulge", "hollow") else (None, None)
    theta, middle = _middle(chart, weight)
    peak_theta, peak_height = _middle(chart, np.where(crest, value, 0.0))
    return Size(
        theta=theta,
        height_mm=middle,
        peak_theta=peak_theta,
        peak_height_mm=peak_height,
        from_mm=float(chart.z[rows[0]]),
        to_mm=float(chart.z[rows[-1]]),
        area_cm2=float(chart.cell_mm2[mask].sum() / 100.0),
        peak=height,
        peak_sd=height_sd,
        ratio=ratio,
        volume_ml=volume,
        volume_sd_ml=volume_sd,
    )


def _sharpness(chart: Chart, value: Array, top: tuple[np.intp, ...], sd: float) -> tuple[float, float, float]:
    """Return the local radius at the top of a ridge and its sd, mm, and the pressure ratio there."""
    mean = chart.h[top[0]].mean()
    # the map is the mean radius minus a multiple of the local one, which shows best on the flat
    flat = int(np.argmax(chart.radius[top[0]]))
    multiple = (mean - value[top[0], flat]) / chart.radius[top[0], flat]
    radius = chart.radius[top]
    sharp = min(float(mean) / radius, SHARPEST) if radius > 0 else SHARPEST
    return float(radius), sd / float(multiple), float(sharp)


def _middle(chart: Chart, weight: Array) -> tuple[float, float]:
    """Return the direction and height of the middle of weights (Z, T)."""
    turning = np.sum(weight * np.exp(1j * chart.theta))
    return float(np.angle(turning)), float(np.sum(weight * chart.z[:, None]) / np.sum(weight))


def _crest(value: Array, mask: Mask) -> Mask:
    """Return the places (Z, T) about a region's top that are nearly as high.

    The very highest place of a flat top goes wherever a millimetre of error puts it.
    """
    inside = np.where(mask, value, -np.inf)
    top = inside == inside.max()
    high = connected(inside >= _NEAR_PEAK * float(inside.max()))
    return next(part for part in high if (part & top).any())


def _volume(search: Search, chart: Chart, peak: Peak) -> tuple[float, float | None]:
    """Return the volume between surface and reference in mL, and its sd where draws tell it."""
    weight = _volume_weight(search, chart, peak.value, peak.foot)
    volume = float(np.sum(weight * peak.value))
    if search.moved is None or peak.taper is None:
        return volume, _noise(weight, search.map.deviation)
    noise = _noise(weight, peak.taper.stand_out_thin(search.moved)) or 0.0
    return volume, float(np.hypot(noise, _left_open(search, chart, peak, weight)))


def _volume_weight(search: Search, chart: Chart, value: Array, foot: Mask) -> Array:
    """Return the mL that a millimetre at each place of a foot (Z, T) stands for."""
    sign = -1.0 if search.kind == "bulge" else 1.0
    halfway = np.maximum(chart.radius + sign * (value + _bent(value)) / 2, 0.0)
    return np.where(foot, halfway, 0.0) * chart.turn_step * chart.row_mm[:, None] / MM3_PER_ML


def _noise(weight: Array, drawn: Array) -> float | None:
    """Return the sd of a weighted sum (Z, T) over draws (D, Z, T'); None without any."""
    if not len(drawn):
        return None
    every = weight.shape[1] // drawn.shape[2]
    return float(np.std(drawn.reshape(len(drawn), -1) @ (every * weight[:, ::every]).ravel()))


def _left_open(search: Search, chart: Chart, peak: Peak, weight: Array) -> float:
    """Return what is open about the taper below a bulge, mL.

    Where its surroundings tell the taper, it is half of how far the two tapers, with and without the bulge,
    are apart; where they do not, all that its smoothness leaves open.
    """
    taper = peak.taper
    assert taper is not None
    if not peak.settled:
        return taper.sd_of(weight)
    first = search.map.value
    top = float(first[peak.foot].max())
    foot = grown(first, peak.foot & (first == top), FOOT * top)
    before = np.sum(_volume_weight(search, chart, first, foot) * first)
    return abs(float(np.sum(weight * peak.value) - before)) / 2


def _bent(value: Array) -> Array:
    """Return the second derivative by direction of a map (Z, T), its finest ripples left out."""
    wave = np.fft.rfft(value, axis=1)
    order = np.arange(wave.shape[1])
    return np.fft.irfft(np.where(order <= _ROUND_SECTION_HARMONICS, -(order**2), 0) * wave, value.shape[1])
