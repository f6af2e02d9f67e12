"""The limb's surface as files for other programs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from trimesh.visual import TextureVisuals
from trimesh.visual.material import PBRMaterial

from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh

MESH_FILES = ("mesh.ply", "mesh.stl", "mesh.obj", "mesh.glb")
# glTF 2.0, section 3.4: metres, y up, an asset's front faces +z.  Our z is up and toes point to +y.  This is
# a turn, no reflection, so faces keep their outward side.
GLTF_FROM_WORLD = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]) / 1000.0
_GREY = (0.80, 0.77, 0.72, 1.0)


def write_meshes(folder: Path, limb: Limb, end: EndPart | None = None) -> None:
    """Write mesh.ply, mesh.stl, mesh.obj (mm, world frame, z up) and mesh.glb (metres, y up).

    All are closed, with outward faces, and hold the stated volume: the limb's, and its foot's or hand's
    where there is one.

    Raises
    ------
    OSError
        The files cannot be written.
    """
    mesh = limb_mesh(limb) if end is None else whole_mesh(end, limb)
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    body.export(folder / "mesh.ply")
    body.export(folder / "mesh.stl")
    (folder / "mesh.obj").write_text(_as_obj(mesh), encoding="ascii", newline="\n")
    _for_gltf(mesh.vertices, body).export(folder / "mesh.glb")


def _as_obj(mesh: Mesh) -> str:
    """Return a surface as a Wavefront OBJ file's text; the library's own takes four times as long."""
    corners = "v %.5f %.5f %.5f\n" * len(mesh.vertices) % tuple(mesh.vertices.ravel().tolist())
    faces = "f %d %d %d\n" * len(mesh.faces) % tuple((mesh.faces + 1).ravel().tolist())
    return f"# a limb's surface, millimetres, z up\n{corners}{faces}"


def _for_gltf(vertices: Array, body: trimesh.Trimesh) -> trimesh.Trimesh:
    # without a material viewers show bare metal, as glTF's defaults say
    skin = PBRMaterial(  # type: ignore[no-untyped-call]
        name="limb", baseColorFactor=_GREY, metallicFactor=0.0, roughnessFactor=0.9
    )
    look = TextureVisuals(material=skin)  # type: ignore[no-untyped-call]
    return trimesh.Trimesh(vertices @ GLTF_FROM_WORLD.T, body.faces, visual=look, process=False)
