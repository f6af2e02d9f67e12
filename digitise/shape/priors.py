"""What is known of a limb's sections before any photograph: the stated priors.

A section is an ellipse with small corrections.  How these hang together in standing legs, up and down the leg
and from order to order, is told by :mod:`digitise.shape.standing.leg_shapes`; what that leaves of 38 other
legs of a parametric body model with open data (both sexes, several builds, swollen and not;
``tests/data/limbs/README.md``), none of which is a test case, is taken a fifth larger: real legs differ from
those of one model.  For legs that lie, and for those that are unlike whole legs, sizes, means along the leg
and how far they are alike along it were fitted to the same 38.  Each leg left out in turn, orders 3 and 4 and
the sine of order 2 lie off these means by 0.5 to 0.75 of what they lie off zero; what is left beside them is
taken a fifth larger too.  For arms the sizes are a fifth larger than those of 24 arms of the same model that
lie with the palm down, from wrist to upper arm, none of them a test case either; how a forearm is turned
differs, so nothing is expected of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag
from scipy.ndimage import maximum_filter1d

from digitise.anatomy import LimbKind, Side
from digitise.geometry.rigid import Array
from digitise.geometry.support import ellipse_overtones, mirrored_signs
from digitise.shape.basis import Basis
from digitise.shape.standing.leg_shapes import LegShapes, standing_left_leg

KNOT_SPACING_MM = 25.0
HARMONICS = 6
# mean radius and the two coordinates of the centre: their priors leave straight lines free
FREE_TERMS = 3


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
    means
        Rows of height (mm above the mat) and sine of order 2, cosine and sine of order 3, cosine and sine of
        order 4 over the mean radius, expected there beyond the ellipse; none where nothing is expected.
    shapes
        Whole legs, beside which all of the above is counted; none where no legs are known.
    """

    slope_sd: float
    amplitude: tuple[tuple[float, float], ...]
    length_mm: float
    means: tuple[tuple[float, ...], ...] = ()
    shapes: LegShapes | None = None


def _any_way(size: float) -> tuple[float, float]:
    """Return the sds of cosine and sine of a harmonic of this rms size that may face anywhere."""
    return size / 2**0.5, size / 2**0.5


# A calf's radius goes from level at the ankle to a slope of 0.15-0.2 within 100 mm; heel and knee bend as
# fast.
# A leg's section is wide or deep along its own axes (order 2, cosine) and a little turned (sine); the calf is
# triangular (3), thigh and ankle somewhat square (4); tendons and the shin's crest give the rest.
_LEG_MEANS = (
    (80.0, 0.006, -0.037, -0.003, 0.013, 0.007),
    (120.0, -0.008, -0.033, -0.002, 0.005, 0.003),
    (160.0, -0.022, -0.020, -0.001, -0.002, 0.001),
    (200.0, -0.027, -0.004, 0.000, -0.003, 0.003),
    (250.0, -0.025, 0.009, -0.001, 0.000, 0.006),
    (300.0, -0.024, 0.013, -0.006, 0.003, 0.008),
    (350.0, -0.025, 0.013, -0.012, 0.005, 0.007),
    (400.0, -0.020, 0.012, -0.019, 0.008, 0.004),
    (450.0, -0.009, 0.014, -0.024, 0.010, 0.002),
    (500.0, -0.001, 0.017, -0.028, 0.009, 0.001),
    (550.0, 0.000, 0.018, -0.026, 0.006, -0.001),
    (600.0, -0.003, 0.017, -0.021, 0.003, -0.003),
    (700.0, -0.008, 0.014, -0.009, 0.000, -0.006),
    (800.0, -0.010, 0.014, -0.005, 0.001, -0.006),
)
LEG = SectionPrior(0.15, ((0.087, 0.022), *map(_any_way, (0.020, 0.0092, 0.0060, 0.0038))), 90.0, _LEG_MEANS)
# What eight ways of differing leave of the same legs.
STANDING_LEG = SectionPrior(0.077, ((0.038, 0.020), *map(_any_way, (0.0174, 0.0075, 0.0048, 0.0032))), 85.0)
# A forearm turns with the hand, so its flat side may face anywhere.
ARM = SectionPrior(0.15, tuple(map(_any_way, (0.080, 0.033, 0.011, 0.0064, 0.0034))), 70.0)
BY_LIMB = {LimbKind.LEG: LEG, LimbKind.ARM: ARM}
ANKLE_MM = 72.0  # above the sole: adult ankle bones reach 70-75 mm
_MEAN_TERMS = (4, 5, 6, 7, 8)
# Mean radius and centre together bend by 3 (squared sds) a span as the prior expects it; what edges leave of
# it is less than this on most spans of 37 photo-real legs, and 10 to 40 beside the lips of four with lobes.
# Over a span and its neighbours: errors of the 37 are the same with it, those of the four a third smaller.
_USUAL_BEND, _AROUND = 1.5, 3
# By how much a coefficient may be off at a lip, of what its second difference is, where the prior keeps less
# than the second of its precision: by trial on four lobes, whose girths are then within 2.7 sds everywhere (8
# without it), and so that ankles of swollen legs without lobes are known as well as they are. Less than the
# third does not show.
_LIP_SHARE, _LIP_FROM, _LEAST_LIP_MM = 0.6, 0.4, 0.1
# A pipe, a bucket or a moulded cone, with which people try out a measuring method: straight-sided, and set
# square to the sheets within some 5 degrees, which turns 0.03 of an oval whose order 2 is 0.2.
SOLID = SectionPrior(0.0045, ((0.2, 0.03), *map(_any_way, (0.001,) * 4)), 70.0)


def of_whole_legs(side: Side) -> SectionPrior:
    """Return the prior of standing legs with their front towards y, as they hang together."""
    left = standing_left_leg()
    return replace(STANDING_LEG, shapes=left if side == Side.LEFT else left.mirrored())


def of_limb(limb: LimbKind, side: Side, *, standing: bool, on_back: bool = False) -> SectionPrior:
    """Return the prior of a limb; only a leg whose front faces y is known to face anywhere.

    Parameters
    ----------
    limb, side
        ``leg`` or ``arm``; ``left`` or ``right``.
    standing
        Whether heights are counted from the mat.
    on_back
        Whether a leg lies with its kneecap up and heights are counted from the tip of the ankle bone.
    """
    prior = BY_LIMB[limb]
    if not (standing or on_back):
        return replace(prior, means=())
    if on_back:
        prior = replace(prior, means=tuple((row[0] - ANKLE_MM, *row[1:]) for row in prior.means))
    if side == Side.LEFT:
        return prior
    sign = (1.0, *mirrored_signs(HARMONICS)[list(_MEAN_TERMS)])
    return replace(prior, means=tuple(tuple(np.multiply(sign, row).tolist()) for row in prior.means))


def _blocks(prior: SectionPrior, basis: Basis, radius: Array, share: Array | None = None) -> list[Array]:
    """Return the precision of each harmonic term's spline coefficients, (n_splines, n_splines) each."""
    rough = basis.roughness_precision(prior.slope_sd, share)
    unit = basis.matern_precision(prior.length_mm)
    blocks = [rough] * FREE_TERMS
    for pair in prior.amplitude:
        for amplitude in pair:
            scale = 1.0 / (amplitude * radius)
            blocks.append(unit * np.outer(scale, scale))
    return blocks


def precision(prior: SectionPrior, basis: Basis, radius: Array, share: Array | None = None) -> Array:
    """Return the prior precision of all parameters.

    Parameters
    ----------
    prior
        The stated numbers.
    basis
        Splines and harmonics.
    radius
        (n_splines,) mean radius at ``basis.places``, mm.
    share
        (S,) what mean radius and centre keep of their precision on each span; all of it where it is None.

    Returns
    -------
    (size, size).
    """
    apart = np.asarray(block_diag(*_blocks(prior, basis, radius, share)))
    if prior.shapes is None:
        return apart
    weighed, inner = _with_modes(apart, prior.shapes, basis)
    found = apart - weighed @ np.linalg.solve(inner, weighed.T)
    return np.asarray((found + found.T) / 2)


def share_kept(prior: SectionPrior, basis: Basis, radius: Array, parameters: Array) -> Array:
    """Return what mean radius and centre keep of their precision on each span, (S,), by how a limb bends.

    A limb bends as little as a Gaussian prior expects, but for a lobe or a fold: at its lip, far more. There
    the prior is as much weaker as the limb bends more, as under a distribution with heavy tails.

    Parameters
    ----------
    prior, basis, radius
        As for :func:`precision`.
    parameters
        (size,) of the limb.
    """
    off = parameters - mean(prior, basis, parameters)
    if prior.shapes is not None:
        apart = np.asarray(block_diag(*_blocks(prior, basis, radius)))
        weighed, inner = _with_modes(apart, prior.shapes, basis)
        off = off - prior.shapes.on(basis)[1] @ np.linalg.solve(inner, weighed.T @ off)
    terms = off.reshape(basis.n_terms, -1)[:FREE_TERMS]
    bent = basis.bending(terms).sum(axis=1) / (prior.slope_sd**2 / 100.0)
    widest = maximum_filter1d(bent, _AROUND)
    return np.asarray(_USUAL_BEND / np.maximum(widest, _USUAL_BEND))


def unfollowed(basis: Basis, mean: Array, share: Array) -> Array:
    """Return by how much a lip may lie beside the limb, for one sd of each of S ways: (size, S) mm.

    Where a limb bends so that its prior keeps but a ``share`` (see :func:`share_kept`), splines do not follow
    its lip, of which edges below are often hidden or doubtful besides: the mean radius may be larger at one
    place and smaller beside it, by as much as the limb bends. Volumes hardly change by it.

    Parameters
    ----------
    basis, mean
        The limb's splines and parameters (size,).
    share
        (spans,) from :func:`share_kept`.
    """
    n = basis.n_splines
    inner = np.unique(basis.knots)
    span = np.clip(np.searchsorted(inner, basis.places) - 1, 0, len(share) - 1)
    bend = np.abs(basis.splines(basis.places, 2) @ mean[:n]) * np.maximum(1.0 - share[span] / _LIP_FROM, 0.0)
    size = _LIP_SHARE * maximum_filter1d(bend, _AROUND) * ((basis.high - basis.low) / len(share)) ** 2
    ways = [k for k in range(1, n - 1) if size[k] > _LEAST_LIP_MM]
    columns = np.zeros((basis.size, len(ways)))
    for column, k in enumerate(ways):
        columns[k - 1 : k + 2, column] = size[k] * np.array([-0.5, 1.0, -0.5])
    return columns


def _with_modes(apart: Array, shapes: LegShapes, basis: Basis) -> tuple[Array, Array]:
    """Return P W (size, M) and 1 + W' P W (M, M) of the precision P of what modes W leave.

    Of their sum, covariance P^-1 + W W', the precision is P - P W (1 + W' P W)^-1 W' P (Woodbury), its
    determinant that of P over that of 1 + W' P W; both hold as well where P leaves straight lines free.
    """
    modes = shapes.on(basis)[1]
    weighed = apart @ modes
    return weighed, np.eye(modes.shape[1]) + modes.T @ weighed


def log_determinant(prior: SectionPrior, basis: Basis, radius: Array) -> float:
    """Return the log of the product of the non-zero eigenvalues of :func:`precision`.

    Straight lines of mean radius and centre are free under every prior, so what is left out is common to all.
    """
    blocks = _blocks(prior, basis, radius)
    spectra = [np.linalg.eigvalsh(block) for block in blocks]
    kept = [s[2:] for s in spectra[:FREE_TERMS]] + spectra[FREE_TERMS:]
    found = float(np.sum(np.log(np.concatenate(kept))))
    if prior.shapes is None:
        return found
    return found - float(np.linalg.slogdet(_with_modes(block_diag(*blocks), prior.shapes, basis)[1])[1])


def mean(prior: SectionPrior, basis: Basis, parameters: Array) -> Array:
    """Return the prior mean (size,): orders 4 and 6 of the ellipses that order 2 of ``parameters`` describes.

    To it comes what the limb is expected to have beyond ellipses.  The ellipse is not linear in order 2, so
    the mean follows the estimate from round to round.
    """
    now = parameters.reshape(basis.n_terms, basis.n_splines)
    second = now[3] + 1j * now[4]
    turn = second / np.maximum(np.abs(second), 1e-12)
    fourth, sixth = ellipse_overtones(np.abs(second) / np.maximum(now[0], 1e-12))
    found = np.zeros_like(now)
    for order, ratio in ((4, fourth), (6, sixth)):
        wave = now[0] * ratio * turn ** (order // 2)
        found[2 * order - 1], found[2 * order] = wave.real, wave.imag
    if prior.means:
        height, *ratios = np.array(prior.means).T
        for term, ratio in zip(_MEAN_TERMS, ratios, strict=True):
            found[term] += now[0] * np.interp(basis.places, height, ratio)
    if prior.shapes is not None:
        found += prior.shapes.on(basis)[0].reshape(found.shape)
    return found.ravel()
