"""What a chart of directions and heights says at the vertices of a mesh."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from digitise.care.change.compare import Change
from digitise.geometry.mesh import Mesh, vertex_normals
from digitise.geometry.rigid import Array
from digitise.shape.limb import Z95, Limb

_SAME_MM = 1e-3


def change_on_mesh(change: Change, mesh: Mesh) -> tuple[Array, NDArray[np.bool_]]:
    """Return the radial change at a mesh's vertices, mm, and where it is clear by itself.

    Parameters
    ----------
    change
        The comparison.
    mesh
        Of ``change.second`` or ``change.first``, in the world frame.

    Returns
    -------
    change
        (N,) second minus first.
    clear
        (N,) True where the 95 % interval leaves out zero; nothing is clear beyond the common heights.
    """
    theta, z = _directions(change.first, mesh)
    chart = change.chart
    mean, sd = (_interpolated(chart.theta, chart.z, v, theta, z) for v in chart.change_mm)
    compared = (z > chart.z[0] - _SAME_MM) & (z < chart.z[-1] + _SAME_MM)
    return mean, compared & (np.abs(mean) > Z95 * sd)


def mask_on_mesh(
    limb: Limb, theta: Array, z: Array, mask: NDArray[np.bool_], mesh: Mesh
) -> NDArray[np.bool_]:
    """Return which vertices (N,) of a limb's mesh in the world frame lie in a mask (Z, T) of its chart."""
    return _interpolated(theta, z, mask.astype(float), *_directions(limb, mesh)) > 0.5


def _directions(limb: Limb, mesh: Mesh) -> tuple[Array, Array]:
    own = Mesh(limb.axis_from_world.apply(mesh.vertices), mesh.faces)
    normals = vertex_normals(own)
    return np.arctan2(normals[:, 1], normals[:, 0]), own.vertices[:, 2]


def _interpolated(chart_theta: Array, chart_z: Array, values: Array, theta: Array, z: Array) -> Array:
    around = np.append(chart_theta, 2 * np.pi)
    closed = np.concatenate([values, values[:, :1]], axis=1)
    field = RegularGridInterpolator((chart_z, around), closed)
    return np.asarray(field((np.clip(z, chart_z[0], chart_z[-1]), theta % (2 * np.pi))))
