"""Limbs of known shape for padding and wraps: cones with bumps, dents and steps, seen from four sides."""

from functools import cache

import numpy as np
from scipy.spatial import ConvexHull

from digitise.geometry.rigid import Pose
from digitise.geometry.support import area_weights, fourier
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.limb import Limb

LOW, HIGH = 100.0, 500.0
# outlines: 0.1 mm that is common to an edge, 0.2 mm along it; tape: 2.5 mm
EDGE_SD_MM, TAPE_SD_MM = 0.25, 2.5
AROUND = np.radians(np.arange(360.0))


def cone_radius(z, low=45.0, high=65.0):
    return low + (high - low) * (np.asarray(z, float) - LOW) / (HIGH - LOW)


def basis(low=LOW, high=HIGH):
    return Basis.uniform(low - 20, high + 20, priors.KNOT_SPACING_MM, priors.HARMONICS)


def parameters(shape, on):
    """Parameters (size,) of ``shape(theta, z) -> h``: Fourier sums round, least squares along."""
    z = np.arange(on.low, on.high + 0.5, 1.0)
    terms = fourier(AROUND, on.harmonics)
    h = shape(AROUND[None, :], z[:, None]) * np.ones((len(z), len(AROUND)))
    coefficients = h @ terms / np.array([len(AROUND), *[len(AROUND) / 2] * (on.n_terms - 1)])
    return np.linalg.lstsq(on.splines(z), coefficients, rcond=None)[0].T.ravel()


@cache
def belief(low=LOW, high=HIGH, directions=(0, 45, 90, 135), radius=55.0):
    """Prior precision and posterior covariance of a leg seen from these directions and taped every 80 mm."""
    on = basis(low, high)
    prior = priors.precision(priors.LEG, on, np.full(on.n_splines, radius))
    z = np.arange(on.low, on.high, 10.0)
    precision = prior.copy()
    distance = np.abs(z[:, None] - z) * np.sqrt(3) / 50
    inverse = np.linalg.inv(
        EDGE_SD_MM**2 * (0.2 + 0.8 * (1 + distance) * np.exp(-distance)) + 1e-4 * np.eye(len(z))
    )
    for theta in np.radians([a + half for a in directions for half in (0, 180)]):
        rows = on.design(np.full(len(z), theta), z)
        precision += rows.T @ inverse @ rows
    tape = np.arange(low, high + 1, 80.0)
    rows = 2 * np.pi * on.splines(tape)
    precision[: on.n_splines, : on.n_splines] += rows.T @ rows / TAPE_SD_MM**2
    covariance = np.linalg.inv(precision)
    return prior, (covariance + covariance.T) / 2


def limb(shape, *, side="left", kind="leg", deviation=None, low=LOW, high=HIGH, directions=(0, 45, 90, 135)):
    """The limb ``h = shape(theta, z)``, moved by ``deviation`` (size,) when given."""
    on = basis(low, high)
    prior, covariance = belief(low, high, directions)
    mean = parameters(shape, on)
    if deviation is not None:
        mean = mean + deviation
    return Limb(kind, side, Pose.identity(), low, high, on, mean, covariance, np.zeros(on.size), prior)


def mound(theta, z, peak, theta_0, z_0, wide=0.6, tall=32.0):
    """A smooth mound: Gaussian round (``wide`` radians) and along (``tall`` mm)."""
    turn = np.angle(np.exp(1j * (theta - theta_0)))
    return peak * np.exp(-0.5 * (turn / wide) ** 2 - 0.5 * ((z - z_0) / tall) ** 2)


def cone_with(*mounds):
    return lambda theta, z: cone_radius(z) + sum(mound(theta, z, *one) for one in mounds)


def volume_of(first, second):
    """Volume of ``second`` beyond ``first``, mL, from their Fourier sections: int (A_2 - A_1) dz."""
    on = first.basis
    z = np.linspace(first.from_mm, first.to_mm, 801)
    weight = area_weights(on.harmonics)

    def areas(one):
        return (on.splines(z) @ one.mean.reshape(on.n_terms, -1).T) ** 2 @ weight

    return np.trapezoid(areas(second) - areas(first), z) / 1000.0


def hull_limb(radius, **how):
    """The limb that silhouettes show of sections ``r = radius(phi, z)``, and its volume from LOW to HIGH, mL.

    Outlines see the convex hull of a section; its volume here is that of polygons, no support function.
    """
    z = np.arange(LOW - 20, HIGH + 21, 2.0)
    r = radius(AROUND[None, :], z[:, None]) * np.ones((len(z), len(AROUND)))
    points = np.stack([r * np.cos(AROUND), r * np.sin(AROUND)], axis=-1)
    h = (points @ np.stack([np.cos(AROUND), np.sin(AROUND)])).max(axis=1)
    inside = (z >= LOW) & (z <= HIGH)
    areas = [ConvexHull(section).volume for section in points[inside]]

    def shape(theta, at):
        row = (np.ravel(at) - z[0]) / 2.0
        low = np.minimum(row.astype(int), len(z) - 2)
        part = (row - low)[:, None]
        return (1 - part) * h[low] + part * h[low + 1]

    return limb(shape, **how), np.trapezoid(areas, z[inside]) / 1000.0
