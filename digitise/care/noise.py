"""How far noise alone drives a map, so that only what goes beyond it is listed.

A map (a number at each place of the chart) is computed for the limb as found and for limbs drawn from its
belief.  With s the usual deviation at a place, the multiplier q is the 99 % quantile, over draws, of the
greatest deviation over s anywhere on any of the maps.  A limb without any region then shows one by chance in
at most one of a hundred cases: the family-wise error of the maximum statistic (Westfall and Young 1993, from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array

DRAWS = 300
SEED = 11
FALSE_SHARE = 0.01
# No surface is known better than this.
_LEAST_SD_MM = 0.02


@dataclass(frozen=True)
class NoisyMap:
    """A map with what its noise looks like.

    Attributes
    ----------
    value
        (Z, T) of the limb as found.
    deviation
        (D, Z, T') of drawn limbs from it; T' columns are every (T / T')-th of T.
    sd
        (Z, T) usual deviation.
    """

    value: Array
    deviation: Array
    sd: Array


def noisy_map(value: Array, deviation: Array, sd: Array | None = None) -> NoisyMap:
    """Return the map; its sd is the root mean square of the deviations when none is given.

    Parameters
    ----------
    value
        (Z, T).
    deviation
        (D, Z, T') on every (T / T')-th column.
    sd
        (Z, T') to scale with instead, for maps that are often exactly zero.
    """
    usual = np.sqrt(np.mean(deviation**2, axis=0)) if sd is None else sd
    usual = np.maximum(usual, _LEAST_SD_MM)
    return NoisyMap(value, deviation, spread_columns(usual, value.shape[1]))


def spread_columns(coarse: Array, count: int) -> Array:
    """Return (Z, count) columns between those of ``coarse`` (Z, T'), the chart closing round."""
    factor = count // coarse.shape[1]
    if factor == 1:
        return coarse
    after = np.roll(coarse, -1, axis=1)
    part = np.arange(factor) / factor
    return np.asarray(coarse[:, :, None] * (1 - part) + after[:, :, None] * part).reshape(len(coarse), count)


def multiplier(maps: tuple[NoisyMap, ...], share: float = FALSE_SHARE) -> float:
    """Return q: beyond q sd anything on any map is more than noise, but for ``share`` of limbs."""
    draws = len(maps[0].deviation)
    greatest = np.zeros(draws)
    for one in maps:
        step = one.sd.shape[1] // one.deviation.shape[2]
        score = (one.deviation / one.sd[:, ::step]).reshape(draws, -1)
        greatest = np.maximum(greatest, score.max(axis=1))
    return float(np.quantile(greatest, 1 - share))
