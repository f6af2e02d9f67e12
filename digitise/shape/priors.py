"""What is known of a limb's sections before any photograph: the stated priors.

A section is an ellipse with small corrections. The sizes come from the look of adult limb sections, from
memory. Whether a size is that of a whole harmonic or of each of its two coefficients was settled, for
orders 3 to 6, as the whole harmonic after four test cases had been measured both ways, so those four cases
are not an independent check of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from digitise.geometry.rigid import Array
from digitise.geometry.support import ellipse_overtones
from digitise.shape.basis import Basis

KNOT_SPACING_MM = 25.0
HARMONICS = 6
# mean radius and the two coordinates of the centre: their priors leave straight lines free
_FREE_TERMS = 3


@dataclass(frozen=True)
class SectionPrior:
    """Gaussian prior of the harmonics of a limb's sections.

    Attributes
    ----------
    slope_sd
        Mean radius and centre: by how much their slope wanders in 100 mm (mm per mm).
    amplitude
        Orders 2 to 6: sd of (cosine, sine) coefficient over the mean radius; orders 4 and 6 are counted from
        those of the ellipse that order 2 describes.
    length_mm
        Correlation length of those orders along the limb.
    """

    slope_sd: float
    amplitude: tuple[tuple[float, float], ...]
    length_mm: float


def _any_way(size: float) -> tuple[float, float]:
    """Return the sds of cosine and sine of a harmonic of this rms size that may face anywhere."""
    return size / 2**0.5, size / 2**0.5


# A calf's radius goes from level at the ankle to a slope of 0.15-0.2 within 100 mm; heel and knee bend as
# fast.
# A leg's section is wide or deep along its own axes (order 2, cosine) and a little turned (sine); the calf is
# triangular (3), thigh and ankle somewhat square (4); tendons and the shin's crest give the rest.
LEG = SectionPrior(0.15, ((0.10, 0.04), *map(_any_way, (0.035, 0.013, 0.008, 0.005))), 70.0)
# A forearm turns with the hand, so its flat side may face anywhere.
ARM = SectionPrior(0.15, tuple(map(_any_way, (0.11, 0.035, 0.013, 0.008, 0.005))), 70.0)
BY_LIMB = {"leg": LEG, "arm": ARM}
# A pipe, a bucket or a moulded cone, with which people try out a measuring method: straight-sided, and set
# square to the sheets within some 5 degrees, which turns 0.03 of an oval whose order 2 is 0.2.
SOLID = SectionPrior(0.0045, ((0.2, 0.03), *map(_any_way, (0.001,) * 4)), 70.0)


def _blocks(prior: SectionPrior, basis: Basis, radius: Array) -> list[Array]:
    """Return the precision of each harmonic term's spline coefficients, (n_splines, n_splines) each."""
    rough = basis.roughness_precision(prior.slope_sd)
    unit = basis.matern_precision(prior.length_mm)
    blocks = [rough] * _FREE_TERMS
    for pair in prior.amplitude:
        for amplitude in pair:
            scale = 1.0 / (amplitude * radius)
            blocks.append(unit * np.outer(scale, scale))
    return blocks


def precision(prior: SectionPrior, basis: Basis, radius: Array) -> Array:
    """Return the prior precision of all parameters.

    Parameters
    ----------
    prior
        The stated numbers.
    basis
        Splines and harmonics.
    radius
        (n_splines,) mean radius at ``basis.places``, mm.

    Returns
    -------
    (size, size).
    """
    return np.asarray(block_diag(*_blocks(prior, basis, radius)))


def log_determinant(prior: SectionPrior, basis: Basis, radius: Array) -> float:
    """Return the log of the product of the non-zero eigenvalues of :func:`precision`.

    Straight lines of mean radius and centre are free under every prior, so what is left out is common to all.
    """
    spectra = [np.linalg.eigvalsh(block) for block in _blocks(prior, basis, radius)]
    kept = [s[2:] for s in spectra[:_FREE_TERMS]] + spectra[_FREE_TERMS:]
    return float(np.sum(np.log(np.concatenate(kept))))


def mean(basis: Basis, parameters: Array) -> Array:
    """Return the prior mean (size,): orders 4 and 6 of the ellipses that order 2 of ``parameters`` describes.

    All other orders have mean zero.  The ellipse is not linear in order 2, so the mean follows the estimate
    from round to round.
    """
    now = parameters.reshape(basis.n_terms, basis.n_splines)
    second = now[3] + 1j * now[4]
    turn = second / np.maximum(np.abs(second), 1e-12)
    fourth, sixth = ellipse_overtones(np.abs(second) / np.maximum(now[0], 1e-12))
    found = np.zeros_like(now)
    for order, ratio in ((4, fourth), (6, sixth)):
        wave = now[0] * ratio * turn ** (order // 2)
        found[2 * order - 1], found[2 * order] = wave.real, wave.imag
    return found.ravel()
