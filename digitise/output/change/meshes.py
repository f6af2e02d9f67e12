"""The second limb of a comparison as a surface whose vertices are coloured by change."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.colors import to_rgb

from digitise.care.change.compare import Change
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.figures.limb import change_reach
from digitise.output.figures.surface import change_on_mesh
from digitise.output.mesh_files import Rgba, write_glb, write_ply
from digitise.shape.mesh import limb_mesh

CHANGE_MESHES = ("mesh-change.ply", "mesh-change.glb")


def write_change_meshes(folder: Path, change: Change) -> None:
    """Write mesh-change.ply (mm, z up, sRGB) and mesh-change.glb (metres, y up, linear as glTF 2.0 asks).

    Raises
    ------
    OSError
        The files cannot be written.
    """
    mesh = limb_mesh(change.second)
    colours = vertex_colours(change, mesh)
    write_ply(folder / CHANGE_MESHES[0], mesh, _bytes(colours))
    write_glb(folder / CHANGE_MESHES[1], "change", mesh, _bytes(_linear(colours)))


def vertex_colours(change: Change, mesh: Mesh) -> Array:
    """Return sRGB colours (N, 3), 0 to 1, of a mesh of either limb: grey where no change is clear."""
    mean, clear = change_on_mesh(change, mesh)
    reach = change_reach(change)
    colours = np.asarray(style.CHANGE(0.5 + 0.5 * np.clip(mean / reach, -1.0, 1.0)))[:, :3]
    return np.where(clear[:, None], colours, to_rgb(style.NO_CLEAR_CHANGE))


def _linear(srgb: Array) -> Array:
    """Return linear light of sRGB values (IEC 61966-2-1)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def _bytes(colours: Array) -> Rgba:
    opaque = np.concatenate([colours, np.ones((len(colours), 1))], axis=1)
    return np.round(255.0 * opaque).astype(np.uint8)
