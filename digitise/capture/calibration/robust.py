"""Huber's loss: residuals far off count by their size, not by its square."""

from __future__ import annotations

import numpy as np

from digitise.geometry.rigid import Array

_ROBUST_SD = 3.0  # residuals beyond this many sd count linearly


def huber_root(z: Array) -> Array:
    """Return the number whose square is Huber's loss of z: z up to the knee, then growing like its root."""
    tail = np.sqrt(np.maximum(2 * _ROBUST_SD * np.abs(z) - _ROBUST_SD**2, _ROBUST_SD**2))
    return np.where(np.abs(z) <= _ROBUST_SD, z, np.sign(z) * tail)


def huber_root_slope(z: Array) -> Array:
    """Return the derivative of that number."""
    return np.asarray(_ROBUST_SD / np.maximum(np.abs(huber_root(z)), _ROBUST_SD))
