"""The limb's surface as files for other programs."""

from __future__ import annotations

from pathlib import Path

from digitise.output.mesh_files import write_glb, write_obj, write_ply, write_stl
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh

MESH_FILES = ("mesh.ply", "mesh.stl", "mesh.obj", "mesh.glb")
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
    write_ply(folder / "mesh.ply", mesh)
    write_stl(folder / "mesh.stl", mesh)
    write_obj(folder / "mesh.obj", mesh, "a limb's surface, millimetres, z up")
    write_glb(folder / "mesh.glb", "limb", mesh, base=_GREY)
