"""One section of a limb as closed lines: its outline and the band in which it lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.geometry.rigid import Array
from digitise.geometry.support import nearest_tangents
from digitise.shape.limb import Z95, Limb, coefficients, radius

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
    z = np.array([height_mm])
    centre = coefficients(limb, z)[0][0, 1:3]
    theta = 2 * np.pi * np.arange(_TANGENTS) / _TANGENTS
    support = radius(limb, theta, np.full(_TANGENTS, height_mm))
    here = support.mean - centre[0] * np.cos(theta) - centre[1] * np.sin(theta)
    lines = [_closed(here + k * Z95 * support.sd, centre, rays) for k in (0.0, -1.0, 1.0)]
    return SectionOutline(height_mm, *lines)


def _closed(h: Array, centre: Array, rays: int) -> Array:
    index, stretch = nearest_tangents(h[None], rays)
    distance = h[index[0]] * stretch[0]
    phi = 2 * np.pi * np.arange(rays + 1) / rays
    return np.asarray(
        centre + np.append(distance, distance[0])[:, None] * np.stack([np.cos(phi), np.sin(phi)], 1)
    )
