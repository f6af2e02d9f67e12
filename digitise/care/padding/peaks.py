"""Peaks on a map: how far a place that stands out reaches, and what its surroundings alone would be.

A peak grows downhill from its top, so that it stops at the valley to the next one.  A wide peak without an
edge pulls the limb's smooth taper up: it then looks lower and narrower than it is.  So the taper is fitted
anew without the peak and its rim, the peak grows further against that, and so on until it stops: the taper is
now what its surroundings alone give (as a background is fitted with the peaks left out, common practice).
Where the limb's own form goes on beside the peak, this does not settle; then the taper of the whole limb
stays, and what it leaves open is told.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from digitise.care.surface.chart import Mask, connected
from digitise.care.surface.taper import Taper, with_rim
from digitise.geometry.rigid import Array

# A peak's foot: foam thins out to nothing beyond.
FOOT = 0.05
_UPHILL = 1.02
# A lesser top whose valley to a higher one is no deeper than a third of it is a shoulder of that (ours).
_SHOULDER = 2 / 3
# Of a Gaussian peak, 2 % of the volume lie below 2 % of its height.
_LAST = 0.02
# Below half the usual difference from the taper, a slope is the limb's own roughness.
_ROUGH = 0.5
_ROUNDS = 12
# Peaks of 15 to 60 mm (sd) on cones raise their height by up to a fifth and their foot by up to nine tenths;
# where the limb's own form joined in, one or the other was doubled or more.
_PEAK_MOVES, _FOOT_GROWS = 1.25, 2.0


@dataclass(frozen=True)
class Peak:
    """One peak as it is measured.

    Attributes
    ----------
    value
        (Z, T) the map that it is measured on.
    foot
        (Z, T) as far as its volume is counted.
    taper
        What the map counts from, where that is the limb's own taper.
    settled
        The taper is what the peak's surroundings alone give.
    """

    value: Array
    foot: Mask
    taper: Taper | None = None
    settled: bool = False


def grown(value: Array, seed: Mask, least: float) -> Mask:
    """Grow a seed (Z, T) downhill as far as the map exceeds ``least``."""
    allowed = value > least
    mask = seed
    while True:
        inside = np.where(mask, value, -np.inf)
        above = ndimage.maximum_filter(inside, size=3, mode=("constant", "wrap"), cval=-np.inf)
        wider = mask | (allowed & (value <= _UPHILL * above))
        if wider.sum() == mask.sum():
            return mask
        mask = wider


def tops(value: Array, seeds: Mask) -> list[Mask]:
    """Return the connected areas of seeds (Z, T), the highest first, each with its shoulders."""
    found: list[Mask] = []
    for seed in sorted(connected(seeds), key=lambda one: -float(value[one].max())):
        high = connected(value >= _SHOULDER * float(value[seed].max()))
        around = next(area for area in high if (area & seed).any())
        joins = next((n for n, other in enumerate(found) if (around & other).any()), None)
        if joins is None:
            found.append(seed)
        else:
            found[joins] = found[joins] | seed
    return found


def settle(h: Array, peak: Peak, seed: Mask, taken: Mask) -> Peak:
    """Measure a peak against what its surroundings alone give, where they tell.

    Parameters
    ----------
    h
        (Z, T) chart of the limb.
    peak
        As found beyond the taper of the whole limb.
    seed
        (Z, T) its top.
    taken
        (Z, T) places of higher peaks, which stay theirs.

    Returns
    -------
    The peak measured anew, or as it was when it did not settle.
    """
    if peak.taper is None:
        return peak
    taper, value = peak.taper, peak.value
    least = _ROUGH * taper.usual_mm
    left_out = np.zeros_like(seed)
    for _ in range(_ROUNDS):
        height = float(value[seed].max())
        foot = grown(value, seed, max(_LAST * height, least)) & ~taken
        wider = left_out | with_rim(foot, taper.theta, taper.z)
        if (wider == left_out).all():
            return Peak(value, foot, taper, settled=True) if _alike(peak, value, foot, seed) else peak
        left_out = wider
        taper = peak.taper.without(left_out)
        value = taper.stand_out(h)
    return peak


def _alike(peak: Peak, value: Array, foot: Mask, seed: Mask) -> bool:
    rise = float(value[seed].max() / peak.value[seed].max())
    return 1 / _PEAK_MOVES < rise < _PEAK_MOVES and foot.sum() < _FOOT_GROWS * peak.foot.sum()
