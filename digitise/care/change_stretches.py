"""Names for the stretches of a leg or an arm, found from how its girth runs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.signal import find_peaks

from digitise.geometry.rigid import Array

# A girth must rise and fall again by this to count as a calf or forearm: twice what a tape is off.
_PROMINENCE_MM = 5.0
# Shorter stretches join their neighbour.
_LEAST_MM = 30.0
NAMES = {
    "leg": ("foot end", "ankle", "calf", "knee", "thigh"),
    "arm": ("hand end", "wrist", "forearm", "elbow", "upper arm"),
}


class Stretch(NamedTuple):
    """A named part of a limb between two heights, mm."""

    name: str
    low: float
    high: float


def stretches(kind: str, z: Array, girth: Array) -> tuple[Stretch, ...]:
    """Divide a limb at its narrowest and widest levels.

    The bounds are candidates of ours.  With B the narrowest level below the calf, C the calf's widest and D
    the narrowest above it, the ankle (wrist) reaches from a quarter of B-C below B to halfway to C, the calf
    (forearm) on to halfway between C and D, the knee (elbow) as far beyond D; the thigh (upper arm) is the
    rest.  A limb that runs on without such levels is divided in thirds, and named so.

    Parameters
    ----------
    kind
        ``leg`` or ``arm``.
    z, girth
        (N,) heights, rising from foot or hand, and girths there, mm.
    """
    low, high = float(z[0]), float(z[-1])
    peaks, _ = find_peaks(girth, prominence=_PROMINENCE_MM)
    if not len(peaks):
        return _thirds(low, high)
    c = int(peaks[0])
    b = int(np.argmin(girth[: c + 1]))
    valleys, _ = find_peaks(-girth[c:], prominence=_PROMINENCE_MM)
    bounds = [float(z[b]) - 0.25 * float(z[c] - z[b]), float(z[b] + z[c]) / 2]
    if len(valleys):
        d = float(z[c + valleys[0]])
        half = (d - float(z[c])) / 2
        bounds += [d - half, d + half]
    edges = [low, *bounds, high]
    return _joined([Stretch(*row) for row in zip(NAMES[kind], edges, edges[1:], strict=False)], low, high)


def _thirds(low: float, high: float) -> tuple[Stretch, ...]:
    edges = np.linspace(low, high, 4).tolist()
    names = ("lower third", "middle third", "upper third")
    return tuple(Stretch(*row) for row in zip(names, edges, edges[1:], strict=False))


def _joined(found: list[Stretch], low: float, high: float) -> tuple[Stretch, ...]:
    """Keep the stretches of some length within the limb, and let them cover it without gaps."""
    kept = [s for s in found if min(s.high, high) - max(s.low, low) >= _LEAST_MM]
    edges = [low, *(s.low for s in kept[1:]), high]
    return tuple(Stretch(s.name, *pair) for s, *pair in zip(kept, edges, edges[1:], strict=False))
