"""Surfaces cut, welded and divided, against an independent library and closed forms."""

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from trimesh.intersections import slice_faces_plane

from digitise.geometry.mesh import Mesh, flux, part_beyond, quartered, used, welded


def ball(radius=50.0, subdivisions=3) -> Mesh:
    body = trimesh.creation.icosphere(subdivisions, radius)
    return Mesh(np.asarray(body.vertices, float), np.asarray(body.faces, np.int64))


def area(mesh: Mesh) -> float:
    return float(trimesh.Trimesh(mesh.vertices, mesh.faces, process=False).area)


@pytest.mark.parametrize("seed", range(5))
def test_what_lies_beyond_a_plane_is_what_another_library_cuts(seed):
    rng, body = np.random.default_rng(seed), ball()
    inward, origin = rng.normal(0, 3, 3), rng.normal(0, 15, 3)
    own = part_beyond(body, inward, origin)
    vertices, faces, _ = slice_faces_plane(body.vertices, body.faces, inward, origin)
    assert_allclose(area(own), area(Mesh(vertices, faces)), rtol=1e-9)
    across = np.cross(inward, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    assert_allclose(flux(own, across), flux(Mesh(vertices, faces), across), rtol=1e-9)
    ahead = (used(own).vertices - origin) @ inward
    assert ahead.min() > -1e-9 * np.linalg.norm(inward)


def test_half_a_ball_is_half_a_ball():
    """Its equator goes through vertices, which lie on the plane."""
    body = ball(50.0, 5)
    half = part_beyond(body, np.array([0.0, 0.0, 2.0]), np.zeros(3))
    # a ball of triangles lies within the sphere: 0.1 % of its volume at this fineness
    assert_allclose(flux(half, np.array([1.0, 0.0, 0.0])), 2 / 3 * np.pi * 50.0**3, rtol=2e-3)


def test_welded_it_is_open_at_its_rim_alone():
    part = welded(part_beyond(ball(), np.array([0.2, -0.1, 1.0]), np.array([0.0, 0.0, 10.3])), 6)
    body = trimesh.Trimesh(part.vertices, part.faces, process=False)
    sides = np.sort(body.edges, axis=1)
    _, count = np.unique(sides, axis=0, return_counts=True)
    rim = body.vertices[
        np.unique(sides[np.isin(np.arange(len(sides)), trimesh.grouping.group_rows(sides, 1))])
    ]
    assert set(count) == {1, 2}
    assert_allclose((rim - [0, 0, 10.3]) @ [0.2, -0.1, 1.0], 0.0, atol=1e-5)
    assert np.all(body.area_faces >= 0)
    assert len(np.unique(part.faces)) == len(part.vertices)


def test_nothing_beyond_and_all_beyond():
    body = ball()
    up, far = np.array([0.0, 0.0, 1.0]), np.array([0.0, 0.0, 60.0])
    assert len(part_beyond(body, up, far).faces) == 0
    assert np.array_equal(part_beyond(body, up, -far).faces, body.faces)


def test_quartered_faces_keep_the_surface_and_share_their_corners():
    body = ball(subdivisions=2)
    low = body.vertices[body.faces][:, :, 2].max(axis=1) < 0
    own = quartered(body, low)
    assert len(own.faces) == len(body.faces) + 3 * np.count_nonzero(low)
    assert_allclose(area(own), area(body), rtol=1e-12)
    vertices, _ = trimesh.remesh.subdivide(body.vertices, body.faces, np.flatnonzero(low))
    assert own.vertices.shape == vertices.shape
    whole = quartered(body, np.ones(len(body.faces), bool))
    assert trimesh.Trimesh(whole.vertices, whole.faces, process=False).is_watertight
