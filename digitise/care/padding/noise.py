"""How far noise alone drives a map, so that only what goes beyond it is listed.

A map (a number at each place of the chart) is computed for the limb as found and for limbs drawn from its
belief.  With s the usual deviation at a place, a draw's greatest deviation over s anywhere on any of the maps
tells what noise does; a limb's own greatest must be beyond all but a small share of that: the family-wise
error of the maximum statistic (Westfall and Young 1993, from memory).

A draw that has its say in s makes itself look smaller, by 3 % at 4.5 s and 300 draws, which doubles the share
of false regions.  So each draw is held against the s of the others.  And the few greatest of 300 draws say
little about the last hundredth, but for smooth noise on a surface the tail's form is known: the expected
Euler characteristic of what is beyond u, ``A u exp(-u^2 / 2)`` (Adler and Taylor 2007, from memory), is the
chance of going beyond it.  Only its size A is taken from the draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import lambertw

from digitise.geometry.rigid import Array

DRAWS = 300
SEED = 11
# At most one limb in a hundred may show a region by noise alone; A is known to a tenth.
FALSE_SHARE = 0.008
# No surface is known better than this.
_LEAST_SD_MM = 0.02
# Share of the draws that are far enough out to be in the tail.
_TAIL = 0.3


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
    greatest
        (D,) each draw's greatest deviation, in usual deviations.
    """

    value: Array
    deviation: Array
    sd: Array
    greatest: Array


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
    if sd is None:
        square = np.sum(deviation**2, axis=0)
        count = len(deviation)
        usual = np.maximum(np.sqrt(square / count), _LEAST_SD_MM)
        others = np.sqrt(np.maximum(square - deviation**2, 0.0) / max(count - 1, 1))
        score = deviation / np.maximum(others, _LEAST_SD_MM)
    else:
        usual = np.maximum(sd, _LEAST_SD_MM)
        score = deviation / usual
    greatest = score.reshape(len(deviation), -1).max(axis=1)
    return NoisyMap(value, deviation, spread_columns(usual, value.shape[1]), greatest)


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
    return tail_quantile(np.max([one.greatest for one in maps], axis=0), share)


def tail_quantile(greatest: Array, share: float) -> float:
    """Return the value that maxima of smooth noise go beyond in ``share`` of cases.

    With ``P(max <= u) = exp(-A f(u))`` and ``f(u) = u exp(-u^2 / 2)``, the likelihood of the maxima ``u_i``
    beyond a bound c, k of n, is greatest at ``A = k / ((n - k) f(c) + sum f(u_i))``.

    Parameters
    ----------
    greatest
        (D,) maxima of drawn noise, in standard deviations.
    share
        Above 0, well below 1.
    """
    bound = float(np.quantile(greatest, 1 - _TAIL))
    beyond = greatest[greatest > bound]
    size = len(beyond) / ((len(greatest) - len(beyond)) * _tail(bound) + float(np.sum(_tail(beyond))))
    # f(u) = c where -u^2 exp(-u^2) = -c^2, and u beyond the place of the greatest f: Lambert's lower branch
    wanted = -np.log1p(-share) / size
    return float(np.sqrt(-lambertw(-(wanted**2), -1).real))


def _tail(u: Array | float) -> Array:
    return np.asarray(u * np.exp(-np.square(u) / 2))
