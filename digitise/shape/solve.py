"""The penalised least squares: tangent samples and girths in, mean and covariance out."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import cholesky, solve_triangular

from digitise.errors import ShapeError
from digitise.geometry.matrices import inverse_of
from digitise.geometry.rigid import Array
from digitise.shape.basis import Basis
from digitise.shape.limb import SHARED_ERRORS, SharedErrors
from digitise.shape.tangents import Samples

# Errors of an outline are not independent from point to point: light from one side or a soft backdrop moves a
# whole edge.  All edges may be off by one constant (the same skin before the same backdrop), each by its own
# constant and by a slowly wandering amount (Matern 3/2).  On 16 edges of four photo-real cases what was found
# lay off the truth by 0.10, 0.08 and 0.15-0.2 px; a clinic's photographs are taken to be half as bad again
# and their edges, beside other legs and shadows, up to twice.
BIAS_SD_PX = 0.15
OFFSET_SD_PX = 0.2
WANDER_SD_PX = 0.3
WANDER_LENGTH_MM = 50.0
# Unsure stretches keep their say, but as errors ten times as large, as correlated as the others.
UNSURE_FACTOR = 10.0
# Splines every 25 mm and six orders follow a limb to some 0.05 mm, so an edge's own sd is not believed below
# this; it also keeps the covariance well conditioned.
LEAST_SD_PX = 0.1
# Beyond this many sd a point's own sd grows with its residual, so that its pull falls off again: a bounded
# pull (Huber) would still be strong, for the sd of single points is much below that of their whole edge.
OUTLIER_Z = 2.5
_LOOKS = 2
# Of the scale of printed sheets, a share: a ruler of 100 mm read to half a millimetre leaves 0.3 %; printers
# and paper that grows and shrinks with heat and damp add some 0.4 % (from memory).
PRINT_SD = 0.005


@dataclass(frozen=True, eq=False)
class EdgeData:
    """The samples of one edge that enter the solve.

    Attributes
    ----------
    view, edge
        Which photograph and which of its edges.
    samples
        Support samples.
    modes
        (N, J) by how much the samples stand out too far for one sd of each mode, mm: first those of
        ``SHARED_ERRORS``, then the cameras', and last the ways in which the limb may have swayed.
    weight
        (N,) robust weights in (0, 1].
    """

    view: int
    edge: int
    samples: Samples
    modes: Array
    weight: Array


@dataclass(frozen=True, eq=False)
class GirthData:
    """Girths that enter the solve.

    Attributes
    ----------
    z, girth, sd
        (T,) mm; the sd of a row by itself.
    hand_sd
        What one hand adds to every row, mm.
    off
        (T,) mm that the girths differ when all heights are off alike by one sd; zeros where they are not.
    """

    z: Array
    girth: Array
    sd: Array
    hand_sd: float
    off: Array

    @property
    def covariance(self) -> Array:
        """(T, T) of the rows, but for the hand, mm2."""
        return np.asarray(np.diag(self.sd**2) + np.outer(self.off, self.off))


@dataclass(frozen=True, eq=False)
class Prior:
    """Gaussian belief before the photographs.

    Attributes
    ----------
    mean
        (p,) mm.
    precision
        (p, p); rank-deficient where nothing is known beforehand.
    """

    mean: Array
    precision: Array


@dataclass(frozen=True, eq=False)
class Posterior:
    """Gaussian belief about the parameters (modes of error integrated out).

    Attributes
    ----------
    mean
        (p,).
    covariance
        (p, p).
    modes
        (J,) estimate of each mode, in its sd.
    shared
        What is known of the first modes, those of ``SHARED_ERRORS``.
    print_scale
        (p,) response to a print of another scale, or None.
    """

    mean: Array
    covariance: Array
    modes: Array
    shared: SharedErrors
    print_scale: Array | None = None


def edge_covariance(data: EdgeData) -> Array:
    """Return the covariance of one edge's samples, (N, N) mm^2."""
    return _wandering(data.samples) + np.diag(_own_variance(data.samples) / data.weight)


def _wandering(samples: Samples) -> Array:
    """Return the covariance (N, N) of what an edge's samples err by together, mm^2.

    A stretch that may lie far off is another body's edge or none: it is off as a whole.
    """
    distance = np.abs(samples.z[:, None] - samples.z) * np.sqrt(3.0) / WANDER_LENGTH_MM
    shared = OFFSET_SD_PX**2 + WANDER_SD_PX**2 * (1 + distance) * np.exp(-distance)
    doubtful = np.maximum(UNSURE_FACTOR, samples.sd_px / np.hypot(OFFSET_SD_PX, WANDER_SD_PX))
    scale = samples.mm_per_px * np.where(samples.sure, 1.0, doubtful)
    return np.asarray(np.outer(scale, scale) * shared)


def _own_variance(samples: Samples) -> Array:
    """Return the variance (N,) of each sample's own error, mm^2."""
    scale = samples.mm_per_px * np.where(samples.sure, 1.0, UNSURE_FACTOR)
    return np.asarray((np.maximum(samples.sd_px, LEAST_SD_PX) * scale) ** 2)


def girth_rows(basis: Basis, z: Array) -> Array:
    """Return the rows that turn parameters into girths 2 pi a_0 (Cauchy): (T, size)."""
    rows = np.zeros((len(z), basis.size))
    rows[:, : basis.n_splines] = 2 * np.pi * basis.splines(z)
    return rows


def _information(rows: Array, values: Array, covariance: Array) -> tuple[Array, Array]:
    root = cholesky(covariance, lower=True)
    white: Array = solve_triangular(root, np.column_stack([rows, values]), lower=True)
    return white[:, :-1].T @ white[:, :-1], white[:, :-1].T @ white[:, -1]


def edge_information(basis: Basis, edges: tuple[EdgeData, ...]) -> tuple[Array, Array]:
    """Return the normal matrix and right side of all edges, parameters first, then modes."""
    total = basis.size + edges[0].modes.shape[1]
    matrix, right = np.zeros((total, total)), np.zeros(total)
    for data in edges:
        rows = np.column_stack([basis.design(data.samples.theta, data.samples.z), data.modes])
        part = _information(rows, data.samples.h, edge_covariance(data))
        matrix += part[0]
        right += part[1]
    return matrix, right


def _with_prior(basis: Basis, prior: Prior, edge_part: tuple[Array, Array]) -> tuple[Array, Array]:
    """Return the normal matrix and right side of edges and prior; modes have unit sd."""
    matrix, right = edge_part[0].copy(), edge_part[1].copy()
    p = basis.size
    matrix[:p, :p] += prior.precision
    right[:p] += prior.precision @ prior.mean
    matrix[p:, p:] += np.eye(len(matrix) - p)
    return matrix, right


def _cholesky(matrix: Array) -> Array:
    try:
        return np.asarray(cholesky(matrix, lower=True))
    except np.linalg.LinAlgError as error:
        raise ShapeError(
            "The edges do not determine the limb between the wanted heights.",
            do="Choose nearer heights or take the photographs again.",
        ) from error


def solve(
    basis: Basis,
    prior: Prior,
    edge_part: tuple[Array, Array],
    girths: GirthData | None = None,
) -> Posterior:
    """Solve for the parameters.

    Raises
    ------
    ShapeError
        When edges, girths and prior leave the limb undetermined.
    """
    matrix, right = _with_prior(basis, prior, edge_part)
    p = basis.size
    if girths is not None and len(girths.z):
        rows = _taped_rows(basis, girths, len(matrix))
        part = _information(rows, girths.girth, girths.covariance)
        matrix += part[0]
        right += part[1]
    inverse = inverse_of(_cholesky(matrix))
    mean = inverse @ right
    common = slice(p, p + len(SHARED_ERRORS))
    shared = SharedErrors(mean[common], inverse[common, common], inverse[:p, common])
    return Posterior(mean[:p], inverse[:p, :p], mean[p:], shared)


def _taped_rows(basis: Basis, girths: GirthData, size: int) -> Array:
    """Return the rows that turn parameters and modes into taped girths: (T, size)."""
    rows = np.zeros((len(girths.z), size))
    rows[:, : basis.size] = girth_rows(basis, girths.z)
    rows[:, basis.size + SHARED_ERRORS.index("tape")] = girths.hand_sd
    return rows


def printed(basis: Basis, posterior: Posterior, share: float) -> Posterior:
    """Return the posterior when the scale of the printed sheets is in doubt.

    It is considered, not estimated (Schmidt 1966, from memory): girths pulled alike by one hand look nearly
    the same.  Where the tape says that all lengths are larger or smaller by a ``share`` that the photographs'
    own doubt does not explain, either may be wrong: half of the way from the one to the other is one sd then,
    if that is more than the print's own.
    """
    step = basis.grown(posterior.mean) * max(PRINT_SD, abs(share) / 2)
    return replace(posterior, covariance=posterior.covariance + np.outer(step, step), print_scale=step)


def in_place(basis: Basis, edges: tuple[EdgeData, ...], posterior: Posterior, movements: int) -> Array:
    """Return the mean (p,) with the limb standing where each photograph shows it.

    Of two photographs each alone tells where the limb is across its own line of sight, so whether it stood
    leaning or leant between them is the same to both: the solve shares that out by their priors, and its limb
    would lie beside the edges of the second photograph. Here all of it is how the limb stands: a shift and a
    lean of its centres (order 1), by least squares over the edges' points. Sections stay as they are.

    Parameters
    ----------
    basis, edges, posterior
        Of one solve.
    movements
        How many of the last modes are movements between the photographs.
    """
    if movements == 0:
        return posterior.mean
    rows, moved = [], []
    for data in edges:
        across = np.stack([np.cos(data.samples.theta), np.sin(data.samples.theta)], axis=1)
        rows.append(np.hstack([across, across * data.samples.z[:, None]]))
        moved.append(data.modes[:, -movements:] @ posterior.modes[-movements:])
    found = np.linalg.lstsq(np.concatenate(rows), np.concatenate(moved), rcond=None)[0]
    shift, lean = found[:2], found[2:]
    mean = posterior.mean.reshape(basis.n_terms, -1).copy()
    z = basis.places
    mean[1:3] += np.linalg.solve(basis.splines(z), shift + z[:, None] * lean).T
    return np.asarray(mean.ravel())


def log_evidence(basis: Basis, prior: Prior, log_determinant: float, edge_part: tuple[Array, Array]) -> float:
    """Return the log probability of the edges under a prior, up to a constant of the edges.

    Parameters
    ----------
    basis
        Splines and harmonics.
    prior, log_determinant
        The prior, and the logarithm of its precision's determinant.
    edge_part
        From :func:`edge_information`.

    Raises
    ------
    ShapeError
        When edges and prior leave the limb undetermined.
    """
    matrix, right = _with_prior(basis, prior, edge_part)
    root = _cholesky(matrix)
    white = solve_triangular(root, right, lower=True)
    fit = white @ white - prior.mean @ prior.precision @ prior.mean
    return float(log_determinant / 2 - np.sum(np.log(np.diag(root))) + fit / 2)


def reweigh(basis: Basis, data: EdgeData, posterior: Posterior) -> EdgeData:
    """Find the robust weights of one edge.

    A point is judged by its residual given all other points of its edge, so that a wandering edge is not
    mistaken for outliers, and by its residual as it stands; both in sds.  A second look with the
    first look's weights finds outliers that stood together and vouched for each other.
    """
    samples = data.samples
    residual = samples.h - basis.support(posterior.mean, samples.theta, samples.z)
    residual -= data.modes @ posterior.modes
    together, own = _wandering(samples), _own_variance(samples)
    alone = np.abs(residual) / np.sqrt(np.diag(together) + own)
    for _ in range(_LOOKS):
        covariance = together + np.diag(own / data.weight)
        inverse = inverse_of(cholesky(covariance, lower=True))
        among = np.abs(inverse @ residual) / np.diag(inverse)
        # variance given the others, with the point's own sd as it was read, not as it was inflated
        variance = 1.0 / np.diag(inverse) - own / data.weight + own
        score = np.maximum(alone, among / np.sqrt(variance))
        data = replace(data, weight=np.minimum(1.0, (OUTLIER_Z / np.maximum(score, 1e-12)) ** 2))
    return data
