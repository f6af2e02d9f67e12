"""The second limb of a comparison as a surface whose vertices are coloured by change."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from matplotlib.colors import to_rgb
from numpy.typing import NDArray
from trimesh.visual import ColorVisuals, TextureVisuals
from trimesh.visual.material import PBRMaterial

from digitise.care.change.compare import Change
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.figures.limb import change_reach
from digitise.output.figures.surface import change_on_mesh
from digitise.output.model.meshes import GLTF_FROM_WORLD
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
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    body.visual = ColorVisuals(body, vertex_colors=_bytes(colours))
    body.export(folder / CHANGE_MESHES[0])
    # without a material viewers show bare metal, as glTF's defaults say
    look = TextureVisuals(  # type: ignore[no-untyped-call]
        material=PBRMaterial(name="change", metallicFactor=0.0, roughnessFactor=0.9)  # type: ignore[no-untyped-call]
    )
    look.vertex_attributes["color"] = _bytes(_linear(colours))
    turned = trimesh.Trimesh(mesh.vertices @ GLTF_FROM_WORLD.T, mesh.faces, visual=look, process=False)
    turned.export(folder / CHANGE_MESHES[1])


def vertex_colours(change: Change, mesh: Mesh) -> Array:
    """Return sRGB colours (N, 3), 0 to 1, of a mesh of either limb: grey where no change is clear."""
    mean, clear = change_on_mesh(change, mesh)
    reach = change_reach(change)
    colours = np.asarray(style.CHANGE(0.5 + 0.5 * np.clip(mean / reach, -1.0, 1.0)))[:, :3]
    return np.where(clear[:, None], colours, to_rgb(style.NO_CLEAR_CHANGE))


def _linear(srgb: Array) -> Array:
    """Return linear light of sRGB values (IEC 61966-2-1)."""
    return np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)


def _bytes(colours: Array) -> NDArray[np.uint8]:
    opaque = np.concatenate([colours, np.ones((len(colours), 1))], axis=1)
    return np.round(255.0 * opaque).astype(np.uint8)
