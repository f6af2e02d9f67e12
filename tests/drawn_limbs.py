"""Legs drawn from the stated priors, and what two silhouettes and a tape would say of them."""

from dataclasses import dataclass, replace

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.linalg import cho_solve

from digitise.geometry.rigid import Pose
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.limb import Limb
from digitise.shape.solve import Prior, girth_rows

# mean radius and centre of a thin and slightly bent adult leg, mm
HEIGHTS = np.array([40.0, 110, 185, 260, 335, 410, 485, 560, 635, 710, 785, 860])
RADIUS = np.array([50.0, 46, 46, 53, 64, 67, 63, 62, 68, 79, 87, 92])
CENTRE_X = np.array([0.0, 1, 5, 10, 15, 19, 24, 31, 38, 45, 52, 58])
CENTRE_Y = np.array([-80.0, -82, -88, -90, -90, -88, -80, -68, -60, -56, -54, -53])
# outline of one edge: constant and wandering error of 0.25 and 0.3 px at 0.53 mm
OFFSET_MM, WANDER_MM, POINT_MM = 0.13, 0.16, 0.05


@dataclass(frozen=True)
class Truth:
    """Fourier coefficients on a basis: (n_terms, n_splines)."""

    basis: Basis
    values: np.ndarray

    def at(self, z):
        return self.basis.splines(z) @ self.values.T


def leg_basis(low, high, harmonics=6):
    return Basis.uniform(low - 20, high + 20, priors.KNOT_SPACING_MM, harmonics)


def nominal(basis):
    """The leg without orders of 2 and more, (n_terms, n_splines)."""
    values = np.zeros((basis.n_terms, basis.n_splines))
    for row, curve in enumerate((RADIUS, CENTRE_X, CENTRE_Y)):
        values[row] = CubicSpline(HEIGHTS, curve)(np.clip(basis.places, 40, 860))
    return values


def leg_prior(basis, section=priors.LEG):
    section = replace(section, amplitude=section.amplitude[: basis.harmonics - 1])
    radius = nominal(basis)[0]
    return Prior(np.zeros(basis.size), priors.precision(section, basis, radius))


def draw_anatomy(basis, rng):
    """Orders 2 and more from the prior, (n_terms, n_splines)."""
    n = basis.n_splines
    precision = leg_prior(basis).precision
    found = np.zeros((basis.n_terms, n))
    for term in range(3, basis.n_terms):
        root = np.linalg.cholesky(precision[term * n : (term + 1) * n, term * n : (term + 1) * n])
        found[term] = np.linalg.solve(root.T, rng.standard_normal(n))
    return found


def draw_difference(basis, rng, likeness, depth):
    """By how much orders 2 and more of two limbs differ whose mean radii differ by ``depth`` (n_splines,)."""
    n = basis.n_splines
    found = np.zeros((basis.n_terms, n))
    for order in range(2, basis.harmonics + 1):
        cover = likeness.difference((order,), basis.places, depth, np.zeros((2 * n, 2 * n)))
        root = np.linalg.cholesky(cover + 1e-12 * np.eye(2 * n))
        found[2 * order - 1 : 2 * order + 1] = (root @ rng.standard_normal(2 * n)).reshape(2, n)
    return found


def turned(basis, values, turn):
    """Coefficients (n_terms, n) turned counter-clockwise about the origin."""
    out = values.copy()
    for k in range(1, basis.harmonics + 1):
        wave = (values[2 * k - 1] + 1j * values[2 * k]) * np.exp(1j * k * turn)
        out[2 * k - 1], out[2 * k] = wave.real, wave.imag
    return out


def _edge_noise(z):
    distance = np.abs(z[:, None] - z) * np.sqrt(3) / 50
    wander = WANDER_MM**2 * (1 + distance) * np.exp(-distance)
    return OFFSET_MM**2 + wander + POINT_MM**2 * np.eye(len(z))


def seen(truth, low, high, rng, *, directions=(0.0, 90.0), tape=(), side="left", noise=True):
    """The limb that silhouettes from ``directions`` (degrees) and girths at ``tape`` would give."""
    basis = leg_basis(low, high, truth.basis.harmonics)
    prior = leg_prior(basis)
    z = np.arange(low - 20, high + 20, 8.0)
    cover = _edge_noise(z)
    root, inverse = np.linalg.cholesky(cover), np.linalg.inv(cover)
    precision, right = prior.precision.copy(), prior.precision @ prior.mean
    exact = truth.at(z)
    for theta in np.radians([a + half for a in directions for half in (0.0, 180.0)]):
        rows = basis.design(np.full(len(z), theta), z)
        h = exact @ (truth.basis.design(np.array([theta]), np.array([z[0]])) @ _unit(truth.basis)).ravel()
        h = h + noise * (root @ rng.standard_normal(len(z)))
        precision += rows.T @ inverse @ rows
        right += rows.T @ (inverse @ h)
    heights = np.asarray(tape, float)
    if len(heights):
        rows = girth_rows(basis, heights)
        girths = 2 * np.pi * truth.at(heights)[:, 0] + noise * 2.5 * rng.standard_normal(len(heights))
        precision += rows.T @ rows / 2.5**2
        right += rows.T @ girths / 2.5**2
    covariance = cho_solve((np.linalg.cholesky(precision), True), np.eye(basis.size))
    covariance = (covariance + covariance.T) / 2
    return Limb(
        "leg",
        side,
        Pose.identity(),
        low,
        high,
        basis,
        covariance @ right,
        covariance,
        prior.mean,
        prior.precision,
    )


def _unit(basis):
    """Parameters whose coefficients are one unit each, constant in z: (size, n_terms)."""
    return np.kron(np.eye(basis.n_terms), np.ones((basis.n_splines, 1)))
