import dataclasses

import numpy as np
import pytest
import synthetic
import trimesh
from numpy.testing import assert_allclose
from shapely import Polygon

from digitise.geometry.support import axis_from_points
from digitise.shape import limb as read
from digitise.shape.fit import fit_limb
from digitise.shape.mesh import limb_mesh, mesh_volume

SOLID = synthetic.EllipticFrustum(0, 800, (40, 50), (80, 70), (0, 10), (30, -20))


@pytest.fixture(scope="module")
def limb():
    return fit_limb(synthetic.exact_views(SOLID, synthetic.walking_cameras(), 80, 720, step=2)).limb


@pytest.fixture(scope="module")
def body(limb):
    mesh = limb_mesh(limb)
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def cut(body, height):
    """Section of a mesh as a polygon, by an independent library."""
    line = body.section(plane_origin=[0, 0, height], plane_normal=[0, 0, 1])
    (loop,) = line.discrete
    return Polygon(loop[:, :2])


def test_closed_with_outward_normals(body):
    assert body.is_watertight
    assert body.is_winding_consistent
    assert body.volume > 0
    assert body.euler_number == 2


def test_volume_is_the_stated_volume(limb, body):
    stated = read.volume(limb, limb.from_mm, limb.to_mm).mean
    assert_allclose(body.volume / 1000, stated, rtol=1e-6)
    assert_allclose(mesh_volume(body.vertices, body.faces), body.volume, rtol=1e-9)


def test_convex_hull_of_the_mesh_is_barely_larger(body):
    # every section is convex and the limb tapers evenly: the hull adds what the steps of the outline leave
    assert 1 <= body.convex_hull.volume / body.volume < 1.01


@pytest.mark.parametrize("height", [100.0, 233.0, 400.0, 611.0, 700.0])
def test_sections_cut_from_the_mesh(limb, body, height):
    polygon = cut(body, height)
    here = np.array([height])
    area = read.area(limb, here)
    # rings every 4 mm are joined by straight lines
    assert_allclose(polygon.area, area.mean, rtol=1e-4)
    girth = read.girth(limb, here)
    surplus = limb_plug_in(limb, here) / area.mean - 1
    # a surface with the expected area is less round than it looks: its own girth is short by about half the
    # relative step in area, and within the girth's interval
    assert_allclose(polygon.length / girth.mean, 1 - surplus / 2, atol=1e-3)
    assert abs(polygon.length - girth.mean[0]) < 1.96 * girth.sd[0]
    centre = read.coefficients(limb, here)[0][0, 1:3]
    assert_allclose(polygon.centroid.coords[0], centre, atol=0.5)


def limb_plug_in(limb, z):
    certain = dataclasses.replace(limb, covariance=np.zeros_like(limb.covariance))
    return read.area(certain, z).mean


def test_seen_outline_stays_where_it_was_seen(limb, body):
    # seen directions have an sd of about 0.2 mm, and the surface is drawn in by a fraction of it
    polygon = cut(body, 400.0)
    minx, miny, maxx, maxy = polygon.bounds
    assert_allclose(maxx - minx, read.extent(limb, np.array([400.0]), 0.0).mean, atol=0.25)
    assert_allclose(maxy - miny, read.extent(limb, np.array([400.0]), np.pi / 2).mean, atol=0.25)


def test_mesh_stands_in_the_world(limb):
    axis = axis_from_points(np.array([10.0, 20, 30]), np.array([110.0, 20, 530]))
    here = limb_mesh(limb)
    there = limb_mesh(dataclasses.replace(limb, axis_from_world=axis))
    assert_allclose(axis.apply(there.vertices), here.vertices, atol=1e-9)


def test_a_section_that_is_not_convex_gives_a_simple_mesh(limb):
    # a strong third order makes the mean support function's curve cross itself
    mean = limb.mean.reshape(limb.basis.n_terms, -1).copy()
    mean[5] += 0.17 * mean[0]
    bad = dataclasses.replace(limb, mean=mean.ravel())
    mesh = limb_mesh(bad)
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert body.is_watertight
    polygon = cut(body, 400.0)
    assert polygon.is_valid
    assert polygon.convex_hull.area / polygon.area < 1.002
    assert_allclose(body.volume / 1000, read.volume(bad, bad.from_mm, bad.to_mm).mean, rtol=1e-6)


def test_rings_have_128_points_or_more(limb):
    mesh = limb_mesh(limb)
    levels, count = np.unique(np.round(mesh.vertices[:-2, 2], 6), return_counts=True)
    assert count.min() >= 128
    assert np.diff(levels).max() <= 5


def test_silhouette_of_the_mesh_is_the_outline(limb):
    # dense enough that a vertex lies within 0.02 px of every tangent
    vertices = limb_mesh(limb, step=1.0, rays=720).vertices
    for view in synthetic.exact_views(SOLID, synthetic.walking_cameras(), 120, 680, step=40):
        pixels = view.camera.project(vertices)
        for edge in view.edges:
            for point, normal in zip(edge.points, edge.normals, strict=True):
                offset = pixels - point
                near = (np.abs(offset @ [-normal[1], normal[0]]) < 3) & (offset @ normal > -30)
                # drawn in by a fraction of the seen directions' sd of 0.3 px
                assert abs((offset[near] @ normal).max()) < 0.35
