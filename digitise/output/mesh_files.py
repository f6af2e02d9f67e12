"""Surfaces of triangles as files that other programs read: PLY, STL, OBJ and glTF 2.0.

A general library for meshes writes the same and is loaded for a quarter of a second by every command that
measures; the tests read these files with it and with another.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from digitise.geometry.mesh import Mesh

# glTF 2.0, section 3.4: metres, y up, an asset's front faces +z.  Our z is up and toes point to +y.  This is
# a turn, no reflection, so faces keep their outward side.
_GLTF_FROM_WORLD = np.array([[-1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0]]) / 1000.0
_BYTE, _INDEX, _FLOAT = 5121, 5125, 5126  # glTF's kinds of numbers: 8 and 32 bits without sign, 32-bit float
_ROUGHNESS = 0.9  # of skin: hardly any gloss; by eye

Rgba = NDArray[np.uint8]


def write_ply(path: Path, mesh: Mesh, colours: Rgba | None = None) -> None:
    """Write a binary PLY file, with a colour (N, 4) of each vertex where they are given.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    columns = [(axis, "<f4") for axis in "xyz"]
    properties = b"property float x\nproperty float y\nproperty float z\n"
    if colours is not None:
        columns += [(name, "u1") for name in ("red", "green", "blue", "alpha")]
        properties += b"property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\n"
    vertices = np.empty(len(mesh.vertices), columns)
    values = mesh.vertices.T if colours is None else (*mesh.vertices.T, *colours.T)
    for (name, _), column in zip(columns, values, strict=True):
        vertices[name] = column
    faces = np.empty(len(mesh.faces), [("count", "u1"), ("corners", "<i4", 3)])
    faces["count"], faces["corners"] = 3, mesh.faces
    header = b"ply\nformat binary_little_endian 1.0\nelement vertex %d\n" % len(vertices) + properties
    header += b"element face %d\nproperty list uchar int vertex_indices\nend_header\n" % len(faces)
    path.write_bytes(header + vertices.tobytes() + faces.tobytes())


def write_stl(path: Path, mesh: Mesh) -> None:
    """Write a binary STL file.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    corners = mesh.vertices[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    triangles = np.zeros(
        len(corners), [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
    )
    triangles["normal"] = normals / np.where(lengths > 0, lengths, 1.0)
    triangles["corners"] = corners
    path.write_bytes(bytes(80) + struct.pack("<I", len(triangles)) + triangles.tobytes())


def write_obj(path: Path, mesh: Mesh, remark: str) -> None:
    """Write an OBJ file with a remark in its first line.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    vertices = _lines("v %.5f %.5f %.5f\n", mesh.vertices)
    faces = _lines("f %d %d %d\n", mesh.faces + 1)
    path.write_text(f"# {remark}\n{vertices}{faces}", encoding="ascii", newline="")


def _lines(pattern: str, rows: NDArray[np.generic]) -> str:
    """Return a line of text for each row; all at once, for there are tens of thousands."""
    return (pattern * len(rows)) % tuple(rows.ravel().tolist())


def write_glb(
    path: Path, name: str, mesh: Mesh, colours: Rgba | None = None, base: tuple[float, ...] | None = None
) -> None:
    """Write a binary glTF 2.0 file with one mesh: metres, y up.

    Parameters
    ----------
    path
        The file.
    name
        Of the body and its material.
    mesh
        The surface.
    colours
        (N, 4) of the vertices, linear light as glTF asks.
    base
        Red, green, blue and opacity of the whole surface, linear light.

    Raises
    ------
    OSError
        The file cannot be written.
    """
    points = (mesh.vertices @ _GLTF_FROM_WORLD.T).astype("<f4")
    limits = {"min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()}
    blocks = [mesh.faces.astype("<u4").tobytes(), points.tobytes()]
    accessors = [
        {"bufferView": 0, "componentType": _INDEX, "count": mesh.faces.size, "type": "SCALAR"},
        {"bufferView": 1, "componentType": _FLOAT, "count": len(points), "type": "VEC3", **limits},
    ]
    attributes = {"POSITION": 1}
    if colours is not None:
        blocks.append(colours.tobytes())
        entry = {"bufferView": 2, "componentType": _BYTE, "count": len(points), "type": "VEC4"}
        accessors.append({**entry, "normalized": True})
        attributes["COLOR_0"] = 2
    # without a material viewers show bare metal, as glTF's defaults say
    surface: dict[str, object] = {"metallicFactor": 0.0, "roughnessFactor": _ROUGHNESS}
    if base is not None:
        surface["baseColorFactor"] = base
    content = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": name}],
        "meshes": [{"name": name, "primitives": [{"attributes": attributes, "indices": 0, "material": 0}]}],
        "materials": [{"name": name, "pbrMetallicRoughness": surface}],
        "accessors": accessors,
        "bufferViews": _places(blocks),
        "buffers": [{"byteLength": sum(map(len, blocks))}],
    }
    path.write_bytes(_glb(json.dumps(content).encode("ascii"), b"".join(blocks)))


def _places(blocks: list[bytes]) -> list[dict[str, int]]:
    """Return where each block lies in the buffer that holds them one after the other."""
    ends = np.cumsum([len(block) for block in blocks]).tolist()
    starts = [0, *ends[:-1]]
    return [
        {"buffer": 0, "byteOffset": start, "byteLength": end - start}
        for start, end in zip(starts, ends, strict=True)
    ]


def _glb(content: bytes, binary: bytes) -> bytes:
    """Return a binary glTF file of its JSON and its buffer (section 4.4): chunks of whole fours of bytes."""
    content += b" " * (-len(content) % 4)
    chunks = struct.pack("<I4s", len(content), b"JSON") + content
    chunks += struct.pack("<I4s", len(binary), b"BIN\0") + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks
