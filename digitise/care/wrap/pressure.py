"""Mean pressure below a wrap by Laplace's law: an estimate, shown with what has been published against it.

Nothing here prescribes: tension is rarely known, and pressures read by sensors differ from the formula by
tens of percent.  What carries over from person to person is how pressure changes along one limb.
"""

from __future__ import annotations

import numpy as np

from digitise.geometry.rigid import Array

PASCAL_PER_MMHG = 133.322387415

RELATIVE_ONLY = (
    "Pressures are relative: how they change along and around this limb under the stated tension. "
    "Do not read them as a prescription."
)
CRITICISM = (
    "The formula gives an average for a girth (Thomas 2003). Leaving out the thickness of layers reads high, "
    "by 19 % or more at a 25 cm ankle with four components (Al Khaburi and others, model of multilayered "
    "compression).",
    "Sensors in 47 women read lower than the formula, up to 42 % above the ankle (Garrigues-Ramón and others "
    "2021, J Wound Care 30(4):276-282). Resting pressure fell by 23.5 % within 4 h (J Wound Manag "
    "2023;24(3):87-94).",
    "The pressure really put on depends on the hand: 12.3 % of 1476 people met a 50-60 mmHg target "
    "(PMC7949604).",
)
"""What has been published against the formula; read as abstracts."""


def laplace_pa(tension_n: float, width_mm: float, radius_mm: Array, layers: float = 1.0) -> Array:
    """Return ``P = N T / (W R)`` in pascal.

    Parameters
    ----------
    tension_n
        Tension T over the whole width, N.
    width_mm
        Width W, mm.
    radius_mm
        Radius of curvature R, any shape, mm.
    layers
        Number N of layers.

    Examples
    --------
    5 N over 10 cm in two layers on a girth of 25 cm:

    >>> round(float(laplace_pa(5.0, 100.0, np.array(250.0 / (2 * np.pi)), 2)), 1)
    2513.3
    """
    return np.asarray(layers * tension_n / (width_mm * np.asarray(radius_mm, float)) * 1e6)


def layered_mmhg(
    tension_n: float, width_mm: float, girth_mm: Array, layers: float, thickness_mm: float
) -> Array:
    """Return the mean pressure of layers that lie on one another, in mmHg.

    ``P = sum over i = 1 .. N of (T / W) / (R + (i - 1/2) t)``; the part of a layer that is left when N is
    not whole counts by its share.

    Parameters
    ----------
    tension_n, width_mm
        Tension over the whole width, N; width, mm.
    girth_mm
        Girth below the first layer, any shape, mm.
    layers
        Number N, whole or not.
    thickness_mm
        Of one layer, mm.

    Examples
    --------
    >>> round(float(layered_mmhg(5.0, 100.0, np.array(250.0), 4, 0.0)), 2)
    37.7
    >>> float(layered_mmhg(5.0, 100.0, np.array(250.0), 0, 1.0))
    0.0
    """
    radius = np.asarray(girth_mm, float) / (2 * np.pi)
    total = np.zeros_like(radius)
    for layer in range(int(np.ceil(layers))):
        share = min(1.0, layers - layer)
        total = total + laplace_pa(tension_n, width_mm, radius + (layer + share / 2) * thickness_mm, share)
    return total / PASCAL_PER_MMHG
