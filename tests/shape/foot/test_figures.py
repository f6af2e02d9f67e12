import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from shapely import unary_union
from shapely.geometry import Polygon

from digitise.shape.end import EndPart
from digitise.shape.foot.figures import (
    ball_girth,
    foot_length,
    foot_sections,
    foot_volume,
    heel_instep_girth,
    volume_below,
)
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.model import ShapeModel, edges_of
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PlacedShape

TOP = 100.0


def lying(mesh):
    """A body as a foot that is surely so."""
    faces = np.asarray(mesh.faces, np.int64)
    prior = ShapeModel(np.array(mesh.vertices), np.zeros((1, len(mesh.vertices), 3)), faces, edges_of(faces))
    belief = ShapeBelief(PlacedShape(prior, np.zeros(4)), np.zeros((4, 4)), np.zeros(0))
    return EndPart("foot", belief, TOP, belief.surface.vertices)


def half_ellipsoid(a, b, c):
    """Above the mat; its flat underside, through which no flux goes, is left out."""
    ball = trimesh.creation.icosphere(subdivisions=5)
    ball.apply_scale([a, b, c])
    half = trimesh.intersections.slice_mesh_plane(ball, [0, 0, 1], [0, 0, 0])
    return half


@pytest.mark.parametrize(("a", "b", "c"), [(45, 125, 60), (40, 110, 90)])
def test_half_ellipsoid_on_the_mat(a, b, c):
    foot = lying(half_ellipsoid(a, b, c))
    # chords of the mesh: an icosphere of 20 480 faces holds 0.06 % less than the ball
    assert_allclose(foot_volume(foot).mean, 2 / 3 * np.pi * a * b * c / 1000, rtol=1e-3)
    # its part below z is pi a b (z - z^3 / 3 c^2)
    below = volume_below(foot.vertices, foot.faces, 40.0)
    assert_allclose(below, np.pi * a * b * (40 - 40**3 / (3 * c**2)), rtol=1e-3)
    assert_allclose(foot_length(foot.belief).mean, 2 * b, rtol=1e-3)
    for section in foot_sections(foot):
        share = 1 - ((section.from_heel_mm - b) / b) ** 2
        # slices 4 mm thick; 10 mm from its end the area's second derivative is not small
        assert_allclose(section.area, np.pi / 2 * a * c * share, rtol=5e-3)
        assert_allclose(section.width, 2 * a * np.sqrt(share), rtol=3e-3)


def test_d_shaped_solid_on_the_mat():
    # a half-cylinder of radius 50 along the foot: the girth is half a circle and its chord
    bar = trimesh.creation.cylinder(radius=50, height=240, sections=256)
    bar.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
    foot = lying(trimesh.intersections.slice_mesh_plane(bar, [0, 0, 1], [0, 0, 0]))
    assert_allclose(foot_volume(foot).mean, np.pi / 2 * 50**2 * 240 / 1000, rtol=1e-3)
    assert_allclose(ball_girth(foot.belief).mean, np.pi * 50 + 100, rtol=1e-3)


def usual(side="left"):
    prior = usual_foot(side)
    surface = PlacedShape.usual(prior)
    size = len(prior.modes) + 3
    return EndPart("foot", ShapeBelief(surface, np.eye(size) * 0.01, np.zeros(0)), TOP, surface.vertices)


def test_sections_are_those_of_an_independent_library():
    foot = usual()
    body = trimesh.Trimesh(foot.vertices, foot.faces, process=False).slice_plane([0, 0, TOP], [0, 0, -1])
    heel = foot.vertices[foot.vertices[:, 2] < 80][:, 1].min()
    closed = [section for section in foot_sections(foot, 30.0) if section.girth is not None]
    assert len(closed) > 3
    for section in closed:
        lines = body.section([0, 1, 0], [0, heel + section.from_heel_mm, 0]).discrete
        flat = [Polygon(line[:, [0, 2]]) for line in lines if len(line) > 3]
        area = unary_union([part.buffer(0) for part in flat]).area
        # slices 4 mm thick against one cut
        assert_allclose(section.area, area, rtol=0.01)


def test_volume_sd_is_that_of_drawn_feet():
    foot = usual()
    rng = np.random.default_rng(8)
    size = len(foot.belief.covariance)
    drawn = [
        volume_below(foot.belief.surface.moved(rng.normal(0, 0.1, size)).vertices, foot.faces, TOP)
        for _ in range(300)
    ]
    # the model's own share is not drawn; 300 draws know an sd to 4 %, three of these
    own = np.sqrt(foot_volume(foot).sd ** 2 - (0.012 * foot_volume(foot).mean) ** 2)
    assert_allclose(np.std(drawn) / 1000, own, rtol=0.13)


def test_girths_of_the_usual_foot():
    # of adults' feet the ball's girth is about 0.96 of the length, the heel's and instep's 1.32 (common
    # practice of shoemakers); feet differ by 10 %
    belief = usual().belief
    length = foot_length(belief).mean
    assert_allclose(ball_girth(belief).mean, 0.96 * length, rtol=0.1)
    assert_allclose(heel_instep_girth(belief).mean, 1.32 * length, rtol=0.1)
