"""The single maps of a limb taken by itself, each with its noise."""

from __future__ import annotations

import numpy as np

from digitise.care.padding.noise import NoisyMap, noisy_map
from digitise.care.surface.chart import Chart
from digitise.care.surface.taper import Taper, outer_lift, sagitta
from digitise.geometry.rigid import Array

_EDGE_MM = 60.0
_STEP_OVER_MM = 30.0
_FALL_SCALE_MM = 100.0
_HOLLOW_SCALE_MM = 50.0
# A few lengths of bridges instead of all: on noise their greatest lift is 8 % less (100 drawn cones).
_COARSE_READS_LOW = 1.1
# The sheet takes the greatest of many chords, so its noise reaches further out than a single chord's does;
# with this factor hollows need no larger multiplier than the other maps, which would have to share it.
_MANY_CHORDS = 1.2


def _rows(chart: Chart, length: float) -> int:
    return max(1, round(length / float(chart.z[1] - chart.z[0])))


def bulge_map(taper: Taper, h: Array, moved: Array) -> NoisyMap:
    """Return by how much a chart (Z, T) stands out beyond its taper; ``moved`` (D, Z, T / 2) are draws."""
    return noisy_map(taper.stand_out(h), taper.stand_out_thin(moved))


def hollow_map(chart: Chart, moved: Array) -> NoisyMap:
    """Return how far a taut sheet along the limb lies above it; draws as in :func:`bulge_map`."""
    step = float(chart.z[1] - chart.z[0])
    # noise lifts the sheet most off a straight taper, so its draws are laid on that
    deviation = _COARSE_READS_LOW * outer_lift(moved, step, coarse=True)
    # often exactly zero: measured against how uncertain the bending along the limb is in that direction
    rows = min(_rows(chart, _HOLLOW_SCALE_MM), (len(chart.z) - 1) // 2)
    usual = np.sqrt(np.mean(sagitta(moved, rows) ** 2, axis=0))
    # no straight edge fits at the ends: as uncertain as the nearest place where one does
    nearest = np.clip(np.arange(len(usual)), rows, max(rows, len(usual) - rows - 1))
    return noisy_map(outer_lift(chart.h, step), deviation, _MANY_CHORDS * usual[nearest])


def ridge_map(chart: Chart, mean_radius: Array, bent: Array, ratio: float) -> NoisyMap:
    """Return the mean radius less a multiple of the local one; draws as in :func:`bulge_map`."""
    value = chart.h.mean(axis=1, keepdims=True) - ratio * chart.radius
    return noisy_map(value, mean_radius - ratio * bent)


def crease_map(chart: Chart, moved: Array) -> NoisyMap:
    """Return how far a chart lies below a straight edge; draws as in :func:`bulge_map`."""
    rows = _rows(chart, _EDGE_MM / 2)
    return noisy_map(sagitta(chart.h, rows), sagitta(moved, rows))


def fall_map(chart: Chart, girth: Array, girths: Array) -> NoisyMap:
    """Return how much girth is lost towards the trunk; draws as in :func:`bulge_map`."""

    def lost(profile: Array) -> Array:
        return np.asarray(np.maximum.accumulate(profile, axis=-2) - profile)

    value = lost(girth[:, None])
    rows = min(_rows(chart, _FALL_SCALE_MM), len(girth) - 1)
    usual = np.sqrt(np.mean((girths[:, rows:] - girths[:, :-rows]) ** 2))
    # as with hollows: noise loses most girth on a limb without any taper
    return noisy_map(value, lost(girths), np.full_like(value, usual))


def step_map(chart: Chart, girth: Array, girths: Array) -> NoisyMap:
    """Return how much girth changes within 30 mm; draws as in :func:`bulge_map`."""
    over = _difference_over(chart.z, _STEP_OVER_MM)
    value = np.abs(over @ girth)[:, None]
    return noisy_map(value, np.abs(over @ (girth[:, None] + girths)) - value)


def _difference_over(z: Array, length: float) -> Array:
    """Return (Z, Z) what takes a profile to its change over a length centred there, 0 where none fits."""
    index, step = np.arange(len(z)), float(z[1] - z[0])
    half = length / 2 / step
    ends = [np.maximum(1 - np.abs(index - (index + way)[:, None]), 0.0) for way in (half, -half)]
    fits = (index >= half) & (index <= len(z) - 1 - half)
    return np.where(fits[:, None], ends[0] - ends[1], 0.0)
