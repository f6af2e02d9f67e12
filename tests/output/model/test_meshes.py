"""The mesh files, read back by trimesh and by readers of other hands."""

import csv
import json
import struct

import meshio
import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from output_support import measure
from shapely import Polygon

from digitise.geometry.support import axis_from_points
from digitise.output.model.files import write_model_file, write_sections
from digitise.output.model.meshes import MESH_FILES, write_meshes
from digitise.shape import limb as read

# the bar is 0.05 %; 32-bit numbers of up to 1 m have steps of 6e-5 mm
VOLUME = 1e-5
COMPONENTS = {5123: np.uint16, 5125: np.uint32, 5126: np.float32}


@pytest.fixture(scope="module")
def folder(measured, tmp_path_factory):
    folder = tmp_path_factory.mktemp("meshes")
    write_meshes(folder, measured.fit.limb)
    write_sections(folder, write_model_file(folder, measured))
    return folder


@pytest.fixture(scope="module")
def stated(measured):
    """Volume in mm^3."""
    limb = measured.fit.limb
    return 1000 * float(read.volume(limb, limb.from_mm, limb.to_mm).mean)


def world_mm(points, name):
    """Coordinates of a file in the world frame: glTF has metres, y up, z to the front."""
    if not name.endswith("glb"):
        return points
    return 1000 * np.stack([-points[:, 0], points[:, 2], points[:, 1]], axis=1)


def read_glb(path):
    """Vertices and faces of a binary glTF 2.0 file with one mesh, by its specification."""
    data = path.read_bytes()
    magic, version, length, json_length, json_type = struct.unpack("<4sIII4s", data[:20])
    assert (magic, version, length, json_type) == (b"glTF", 2, len(data), b"JSON")
    content = json.loads(data[20 : 20 + json_length])
    binary = data[28 + json_length :]
    assert all(
        "matrix" not in node or node["matrix"] == np.eye(4).ravel().tolist() for node in content["nodes"]
    )

    def accessor(number, width):
        entry = content["accessors"][number]
        view = content["bufferViews"][entry["bufferView"]]
        start = view.get("byteOffset", 0) + entry.get("byteOffset", 0)
        kind = COMPONENTS[entry["componentType"]]
        return np.frombuffer(binary, kind, entry["count"] * width, start).reshape(-1, width)

    (primitive,) = content["meshes"][0]["primitives"]
    material = content["materials"][primitive["material"]]["pbrMetallicRoughness"]
    assert material["metallicFactor"] == 0.0
    vertices = accessor(primitive["attributes"]["POSITION"], 3).astype(float)
    return vertices, accessor(primitive["indices"], 1).reshape(-1, 3)


def independent(path):
    """Vertices and faces by meshio, or by the reader above, which it lacks."""
    if path.suffix == ".glb":
        return read_glb(path)
    mesh = meshio.read(path)
    return mesh.points.astype(float), mesh.cells_dict["triangle"]


def signed_volume(vertices, faces):
    a, b, c = (vertices[faces[:, corner]] for corner in range(3))
    return float(np.linalg.det(np.stack([a, b, c], axis=1)).sum() / 6)


@pytest.mark.parametrize("name", MESH_FILES)
def test_closed_outward_and_of_the_stated_volume(folder, stated, name):
    body = trimesh.load_mesh(folder / name)
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.euler_number == 2
    unit = 1000.0**3 if name.endswith("glb") else 1.0
    assert_allclose(body.volume * unit, stated, rtol=VOLUME)
    assert 1_000 < len(body.vertices) < 60_000


@pytest.mark.parametrize("name", MESH_FILES)
def test_another_reader_sees_the_same_limb(folder, measured, stated, name):
    vertices, faces = independent(folder / name)
    vertices = world_mm(vertices, name)
    assert_allclose(signed_volume(vertices, faces), stated, rtol=VOLUME)
    limb = measured.fit.limb
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    assert_allclose([low[2], high[2]], [limb.from_mm, limb.to_mm], atol=1e-3)
    # in x and y the rings' support points lie between the limb's greatest and least support distances; the
    # surface is drawn in by a fraction of its sd, and 144 points per ring miss a crest by at most 0.03 mm
    z = np.linspace(limb.from_mm, limb.to_mm, 200)
    for axis, angle in ((0, 0.0), (1, np.pi / 2)):
        ahead = read.radius(limb, np.full(200, angle), z)
        behind = read.radius(limb, np.full(200, angle + np.pi), z)
        assert_allclose(high[axis], ahead.mean.max(), atol=0.05 + ahead.sd.max())
        assert_allclose(low[axis], -behind.mean.max(), atol=0.05 + behind.sd.max())


def test_sections_cut_from_the_files_are_those_of_the_table(folder, measured):
    body = trimesh.load_mesh(folder / "mesh.ply")
    with (folder / "sections.csv").open(newline="") as stream:
        rows = [{name: float(cell) for name, cell in row.items()} for row in csv.DictReader(stream)]
    for row in rows[1:-1:4]:
        line = body.section(plane_origin=[0, 0, row["height_mm"]], plane_normal=[0, 0, 1])
        (loop,) = line.discrete
        cut = Polygon(loop[:, :2])
        # rings every 4 mm are joined by straight lines
        assert_allclose(cut.area, row["area_mm2"], rtol=2e-4)
        # a surface of the expected area is a little less round than the limb
        assert row["girth_low_mm"] < cut.length < row["girth_high_mm"]
        assert_allclose(cut.length, row["girth_mm"], rtol=0.005)
        minx, miny, maxx, maxy = cut.bounds
        assert_allclose([maxx - minx, maxy - miny], [row["width_mm"], row["depth_mm"]], atol=0.6)
        assert_allclose(cut.centroid.coords[0], [row["centre_x_mm"], row["centre_y_mm"]], atol=0.6)


def test_a_slanted_limb_stands_in_the_world(tmp_path):
    axis = axis_from_points(np.array([10.0, -5.0, 3.0]), np.array([60.0, 20.0, 600.0]))
    limb = measure(axis, limb="arm").fit.limb
    write_meshes(tmp_path, limb)
    wanted = 1000 * float(read.volume(limb, limb.from_mm, limb.to_mm).mean)
    for name in MESH_FILES:
        vertices, faces = independent(tmp_path / name)
        vertices = world_mm(vertices, name)
        assert_allclose(signed_volume(vertices, faces), wanted, rtol=VOLUME)
        along = axis.apply(vertices)[:, 2]
        assert_allclose([along.min(), along.max()], [limb.from_mm, limb.to_mm], atol=1e-3)
