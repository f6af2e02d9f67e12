"""A surface of triangles as files that other programs read: PLY, STL, OBJ and binary glTF 2.0.

A general library for meshes writes the same and takes longer to load than all else that a comparison does to
its surface; the tests read the files back with it and with another.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Array

# glTF 2.0, section 3.4: metres, y up, an asset's front faces +z.  Our z is up and toes point to +y.  This is
# a turn, no reflection, so faces keep their outward side.
GLTF_FROM_WORLD = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]) / 1000.0
Bytes = NDArray[np.uint8]
# numbers of the specification: kinds of number, what a buffer is for, and faces of three corners
_UINT8, _UINT32, _FLOAT32 = 5121, 5125, 5126
_FOR_VERTICES, _FOR_FACES, _TRIANGLES = 34962, 34963, 4


def write_ply(path: Path, mesh: Mesh, colours: Bytes | None = None) -> None:
    """Write a binary PLY in the mesh's own frame and unit; ``colours`` (N, 4) are sRGB and alpha."""
    corners = [(name, "<f4") for name in "xyz"]
    inks = [] if colours is None else [(name, "u1") for name in ("red", "green", "blue", "alpha")]
    points = np.zeros(len(mesh.vertices), corners + inks)
    values = mesh.vertices if colours is None else np.column_stack([mesh.vertices, colours])
    for (name, _), column in zip(corners + inks, values.T, strict=True):
        points[name] = column
    faces = np.zeros(len(mesh.faces), [("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, mesh.faces
    header = [
        "ply",
        "format binary_little_endian 1.0",
        f"element vertex {len(points)}",
        *(f"property float {name}" for name, _ in corners),
        *(f"property uchar {name}" for name, _ in inks),
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header\n",
    ]
    path.write_bytes("\n".join(header).encode() + points.tobytes() + faces.tobytes())


def write_stl(path: Path, mesh: Mesh) -> None:
    """Write a binary STL in the mesh's own frame and unit."""
    rows = np.zeros(len(mesh.faces), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    corners = mesh.vertices[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    rows["normal"] = np.divide(normal, length, out=np.zeros_like(normal), where=length > 0)
    rows["corners"] = corners
    path.write_bytes(bytes(80) + struct.pack("<I", len(rows)) + rows.tobytes())


def write_obj(path: Path, mesh: Mesh, comment: str) -> None:
    """Write an OBJ in the mesh's own frame and unit, five decimals; ``comment`` is its first line."""
    vertices = "v %.5f %.5f %.5f\n" * len(mesh.vertices) % tuple(mesh.vertices.ravel().tolist())
    faces = "f %d %d %d\n" * len(mesh.faces) % tuple((mesh.faces + 1).ravel().tolist())
    path.write_text(f"# {comment}\n{vertices}{faces}", encoding="utf-8", newline="")


def write_glb(
    path: Path, mesh: Mesh, name: str, ink: tuple[float, ...] | None = None, colours: Bytes | None = None
) -> None:
    """Write a binary glTF 2.0, metres and y up, of a mesh in mm and z up.

    Parameters
    ----------
    path, mesh
        Where, and what.
    name
        Of the material.  Without a material viewers show bare metal, as glTF's defaults say.
    ink
        The material's one colour, linear, and its alpha.
    colours
        (N, 4) linear colours and alpha of the vertices.
    """
    points = (mesh.vertices @ GLTF_FROM_WORLD.T).astype("<f4")
    parts: list[tuple[Array | Bytes, int, str, dict[str, Any]]] = [
        (mesh.faces.astype("<u4").ravel(), _UINT32, "SCALAR", {}),
        (points, _FLOAT32, "VEC3", {"min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()}),
    ]
    if colours is not None:
        parts.append((colours, _UINT8, "VEC4", {"normalized": True}))
    surface = {"metallicFactor": 0.0, "roughnessFactor": 0.9}
    content = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0}],
        "meshes": [{"primitives": [_primitive(coloured=colours is not None)]}],
        "materials": [
            {
                "name": name,
                "pbrMetallicRoughness": surface | ({} if ink is None else {"baseColorFactor": list(ink)}),
            }
        ],
        "accessors": [
            {"bufferView": n, "componentType": kind, "type": shape, "count": len(part), **more}
            for n, (part, kind, shape, more) in enumerate(parts)
        ],
        **_buffer([part.nbytes for part, *_ in parts]),
    }
    path.write_bytes(_glb(content, b"".join(part.tobytes() for part, *_ in parts)))


def _primitive(*, coloured: bool) -> dict[str, Any]:
    seen = {"POSITION": 1} | ({"COLOR_0": 2} if coloured else {})
    return {"attributes": seen, "indices": 0, "material": 0, "mode": _TRIANGLES}


def _buffer(sizes: list[int]) -> dict[str, Any]:
    """Return the one buffer and its parts, faces first; all of them are whole fours of bytes."""
    starts = np.cumsum([0, *sizes]).tolist()
    views = [
        {
            "buffer": 0,
            "byteOffset": start,
            "byteLength": size,
            "target": _FOR_VERTICES if n else _FOR_FACES,
        }
        for n, (start, size) in enumerate(zip(starts, sizes, strict=False))
    ]
    return {"buffers": [{"byteLength": starts[-1]}], "bufferViews": views}


def _glb(content: dict[str, Any], binary: bytes) -> bytes:
    text = json.dumps(content, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    chunks = [
        struct.pack("<I4s", len(part), kind) + part for kind, part in ((b"JSON", text), (b"BIN\0", binary))
    ]
    return struct.pack("<4sII", b"glTF", 2, 12 + sum(map(len, chunks))) + b"".join(chunks)
