"""Support functions of convex sections.

The support function ``h(theta)`` of a section is the distance from the origin to its tangent line whose
outward normal is ``(cos theta, sin theta)``.  Here it is a trigonometric polynomial

    h(theta) = a_0 + sum_k (a_k cos k theta + b_k sin k theta),   k = 1 .. K,

with its coefficients in the order ``a_0, a_1, b_1, a_2, b_2, ...``.  ``a_0`` is the girth over 2 pi
(Cauchy), ``(a_1, b_1)`` is the Steiner point, the centre of the section.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from digitise.errors import ShapeError
from digitise.geometry.rigid import Array, Pose

_PARALLEL = 0.9


def orders(harmonics: int) -> Array:
    """Return the order k of each of the ``2 harmonics + 1`` coefficients: 0, 1, 1, 2, 2, ..."""
    return np.concatenate([[0.0], np.repeat(np.arange(1.0, harmonics + 1), 2)])


def mirrored_signs(harmonics: int) -> Array:
    """Return the signs (2 harmonics + 1,) of the coefficients once x has become -x: ``h(pi - theta)``.

    Cosines of order k take the sign (-1)^k, sines the opposite one.
    """
    cosine = (-1.0) ** np.arange(1, harmonics + 1)
    return np.concatenate([[1.0], np.stack([cosine, -cosine], axis=1).ravel()])


def fourier(theta: Array, harmonics: int, derivative: int = 0) -> Array:
    """Evaluate the trigonometric terms or their derivative.

    Parameters
    ----------
    theta
        (N,) direction of the outward normal, radians.
    harmonics
        Highest order K.
    derivative
        How often to differentiate by theta.

    Returns
    -------
    (N, 2 K + 1) terms in the order of the module's formula.
    """
    k = orders(harmonics)
    # a sine is a cosine a quarter turn later, and so is each derivative, but for its factor k
    is_sine = np.concatenate([[False], np.tile([False, True], harmonics)])
    phase = np.where(is_sine, -np.pi / 2, 0.0) + derivative * np.pi / 2
    return k**derivative * np.cos(np.outer(theta, k) + phase)


def support_of(sections: Array, theta: Array, derivative: int = 0) -> Array:
    """Return ``h(theta)`` (N,), or its derivative, of N sections (N, 2 K + 1), each in its own direction.

    Examples
    --------
    A circle of 40 mm about (3, 0), towards x and away from it:

    >>> support_of(np.array([[40.0, 3.0, 0.0]] * 2), np.array([0.0, np.pi])).tolist()
    [43.0, 37.0]
    """
    return np.asarray(np.sum(fourier(theta, sections.shape[1] // 2, derivative) * sections, axis=1))


def area_weights(harmonics: int) -> Array:
    """Return w such that the area of a section is ``sum(w * coefficients**2)``.

    From area = 1/2 int h (h + h'') d theta: pi for a_0, ``-pi/2 (k^2 - 1)`` for order k.
    """
    k = orders(harmonics)
    return np.where(k == 0, np.pi, -np.pi / 2 * (k**2 - 1))


def ellipse_overtones(second: Array) -> tuple[Array, Array]:
    """Return orders 4 and 6 of an ellipse's support function from its order 2, all over order 0.

    An ellipse has ``h = sqrt(1 + e cos 2 theta)`` but for its size and turn, so its size-free coefficients
    are a curve in e; to leading order ``-second^2 / 4`` and ``second^3 / 8``.

    Parameters
    ----------
    second
        (N,) coefficient of order 2 over the mean radius, in [0, 0.3); greater ones are taken as the greatest.
    """
    theta = 2 * np.pi * np.arange(64) / 64
    curve = np.sqrt(1 + np.outer(np.linspace(0.0, 0.9, 400), np.cos(2 * theta)))
    ratio = [curve @ np.cos(k * theta) * 2 / curve.sum(axis=1) for k in (2, 4, 6)]
    return np.interp(second, ratio[0], ratio[1]), np.interp(second, ratio[0], ratio[2])


def nearest_tangents(h: Array, n_rays: int) -> tuple[NDArray[np.intp], Array]:
    """Find which tangent line bounds the section on each ray from the origin.

    The section is the intersection of the half-planes behind its tangent lines, so on the ray in direction
    phi it ends at ``min over theta of h(theta) / cos(theta - phi)``.  This also holds where h is not convex
    (``h + h'' < 0``): tangent lines that the section does not reach never win.

    Parameters
    ----------
    h
        (S, M) support functions of S sections about an inner point, at M equal steps of theta from 0, mm.
    n_rays
        Number of rays, at equal steps of phi from 0.

    Returns
    -------
    index
        (S, n_rays) which of the M tangent lines bounds the ray.
    stretch
        (S, n_rays) ``1 / cos(theta - phi)`` for it; the distance along the ray is h times this.
    """
    theta = 2 * np.pi * np.arange(h.shape[1]) / h.shape[1]
    phi = 2 * np.pi * np.arange(n_rays) / n_rays
    index = np.empty((len(h), n_rays), dtype=np.intp)
    stretch = np.empty((len(h), n_rays))
    for ray, angle in enumerate(phi):
        cosine = np.cos(theta - angle)
        near = np.flatnonzero(cosine > 0.05)
        best = near[np.argmin(h[:, near] / cosine[near], axis=1)]
        index[:, ray] = best
        stretch[:, ray] = 1.0 / cosine[best]
    return index, stretch


def axis_from_points(start: Array, end: Array) -> Pose:
    """Return ``axis_from_world`` of the limb axis from ``start`` to ``end``.

    Parameters
    ----------
    start, end
        (3,) points in the world, mm; heights are counted from ``start``.

    Returns
    -------
    Pose with z along the axis and y as near as possible to the world's y, or to the world's z when the axis
    runs along the world's y.

    Raises
    ------
    ShapeError
        When the two points coincide.
    """
    along = np.asarray(end, float) - start
    length = np.linalg.norm(along)
    if not length > 0:
        raise ShapeError(
            "The axis has the same point twice.", where="axis", do="Give two different points on it."
        )
    z = along / length
    guide = np.array([0.0, 1.0, 0.0]) if abs(z[1]) < _PARALLEL else np.array([0.0, 0.0, 1.0])
    y = guide - (guide @ z) * z
    y /= np.linalg.norm(y)
    rotation = np.stack([np.cross(y, z), y, z])
    return Pose(rotation, -rotation @ np.asarray(start, float))


def points_on_axis(axis_from_world: Pose, length_mm: float = 100.0) -> Array:
    """Return (2, 3) points in the world from which :func:`axis_from_points` makes the same axis."""
    return axis_from_world.inverse().apply(np.array([[0.0, 0.0, 0.0], [0.0, 0.0, length_mm]]))
