"""One section of a limb as closed lines: its outline and the band in which it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier, nearest_tangents
from digitise.shape.limb import Z95, Limb, coefficients

_TANGENTS = 360


@dataclass(frozen=True, eq=False)
class SectionOutline:
    """Closed lines round a section, (N, 2) mm in x and y of the axis frame; the last point is the first.

    Attributes
    ----------
    height_mm
        Where on the axis.
    line
        The most likely outline.
    inner, outer
        The outline with every tangent moved in or out by its 95 % half-width.
    """

    height_mm: float
    line: Array
    inner: Array
    outer: Array


def section_outline(limb: Limb, height_mm: float, rays: int = 120) -> SectionOutline:
    """Return the outline of the section at a height, with its 95 % band.

    Parameters
    ----------
    limb
        The limb.
    height_mm
        Where on its axis.
    rays
        Points on each line.

    Raises
    ------
    ShapeError
        The limb is not known at that height.
    """
    mean, covariance = (found[0] for found in coefficients(limb, np.array([height_mm])))
    centre = mean[1:3]
    theta = 2 * np.pi * np.arange(_TANGENTS) / _TANGENTS
    rows = fourier(theta, limb.basis.harmonics)
    sd = np.sqrt(np.maximum(np.sum(rows @ covariance * rows, axis=1), 0.0))
    here = rows @ mean - centre[0] * np.cos(theta) - centre[1] * np.sin(theta)
    lines = [_closed(here + k * Z95 * sd, centre, rays) for k in (0.0, -1.0, 1.0)]
    return SectionOutline(height_mm, *lines)


def _closed(h: Array, centre: Array, rays: int) -> Array:
    index, stretch = nearest_tangents(h[None], rays)
    distance = h[index[0]] * stretch[0]
    phi = 2 * np.pi * np.arange(rays + 1) / rays
    return np.asarray(
        centre + np.append(distance, distance[0])[:, None] * np.stack([np.cos(phi), np.sin(phi)], 1)
    )


def near_half(limb: Limb, eye: Array, z: float) -> Array:
    """Return the half of the limb's section at height ``z`` that faces a place (3,): world points (N, 3).

    The section's curve is ``p = h n + h' t`` with n, t the normal and tangent at theta.
    """
    theta = np.linspace(0.0, 2 * np.pi, 360, endpoint=False)
    mean = coefficients(limb, np.array([z]))[0][0]
    h, turned = (fourier(theta, limb.basis.harmonics, d) @ mean for d in (0, 1))
    x, y = np.cos(theta), np.sin(theta)
    curve = np.stack([h * x - turned * y, h * y + turned * x, np.full(360, z)], axis=1)
    own = limb.axis_from_world.apply(eye)
    near = h < x * own[0] + y * own[1]
    first = int(np.argmax(near & ~np.roll(near, 1)))
    order = np.roll(np.arange(360), -first)
    return limb.axis_from_world.inverse().apply(curve[order][near[order]])
