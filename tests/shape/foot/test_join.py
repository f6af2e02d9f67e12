from dataclasses import replace

import numpy as np
import pytest
import synthetic
import trimesh
from numpy.testing import assert_allclose
from shapely import Point, Polygon

from digitise.errors import ShapeError
from digitise.shape import limb as read
from digitise.shape.end import whole_mesh
from digitise.shape.fit import fit_limb
from digitise.shape.foot.figures import volume_below
from digitise.shape.foot.join import join_foot, require_low, require_placed
from digitise.shape.foot.planes import planes_of_leg
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.solve import solve_shape
from digitise.shape.statistical.surface import PlacedShape

# an ankle's sizes at 100 mm, widening upwards
SOLID = synthetic.EllipticFrustum(0, 800, (33, 44), (70, 75), (0, -55), (0, -20))


@pytest.fixture(scope="module")
def limb():
    return fit_limb(synthetic.exact_views(SOLID, synthetic.walking_cameras(), 80, 720, step=2)).limb


@pytest.fixture(scope="module")
def foot(limb):
    start = PlacedShape.usual(usual_foot(limb.side), 0.0, 0.0)
    return join_foot(solve_shape(start, planes_of_leg(limb)), limb)


def test_one_closed_mesh_with_the_stated_volume(limb, foot):
    mesh = whole_mesh(foot, limb)
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert body.is_watertight
    assert body.is_winding_consistent
    own = volume_below(foot.vertices, foot.faces, foot.top_mm) / 1000
    stated = own + read.volume(limb, limb.from_mm, limb.to_mm).mean
    assert_allclose(body.volume / 1000, stated, rtol=5e-4)


def test_no_step_where_they_meet(limb, foot):
    mesh = whole_mesh(foot, limb)
    body = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    below, above = (
        body.section(plane_origin=[0, 0, foot.top_mm + off], plane_normal=[0, 0, 1]).discrete[0][:, :2]
        for off in (-0.01, 0.01)
    )
    line = Polygon(above).exterior
    # the foot's edges are up to 10 mm long there: their chords lie 0.3 mm inside a circle of radius 45 mm
    assert max(line.distance(Point(point)) for point in below) < 0.35


def test_the_foot_far_from_the_leg_stays_as_it_was(foot):
    low = foot.vertices[:, 2] < foot.top_mm - 40.0
    assert_allclose(foot.vertices[low], foot.belief.surface.vertices[low])


def test_a_foot_that_ends_below_its_leg_is_refused(limb, foot):
    """The more it is bent down at its upper end, the lower that lies; nothing is joined over a gap."""
    surface = foot.belief.surface
    top = int(np.argmax(surface.prior.mean[:, 2]))
    down = -surface.prior.modes[:, top, 2] / np.linalg.norm(surface.prior.modes[:, top, 2])
    joins = []
    for sds in (0.0, 3.0, 6.0, 12.0, 40.0):
        bent = surface.moved(np.concatenate([sds * down, np.zeros(3)]))
        try:
            join_foot(replace(foot.belief, surface=bent), limb)
            joins.append(True)
        except ShapeError:
            joins.append(False)
    assert joins[0]
    assert not joins[-1]
    assert sorted(joins, reverse=True) == joins


def test_a_leg_that_begins_too_high_is_refused():
    high = fit_limb(synthetic.exact_views(SOLID, synthetic.walking_cameras(), 200, 720, step=2)).limb
    with pytest.raises(ShapeError, match="the foot ends at 150 mm"):
        require_low(high)


@pytest.mark.parametrize(("sd_mm", "refused"), [(3.0, False), (5.0, False), (8.0, True), (15.0, True)])
def test_a_leg_that_may_stand_elsewhere_is_no_base_for_a_foot(limb, sd_mm, refused):
    """The whole leg known to stand so far off along the foot: the first harmonic of every section alike."""
    terms, splines = limb.basis.n_terms, limb.basis.n_splines
    shift = np.zeros((terms, splines))
    shift[2] = sd_mm  # the sine: along y, where the toes point
    moved = replace(limb, covariance=limb.covariance + np.outer(shift.ravel(), shift.ravel()))
    if not refused:
        require_placed(moved)
        return
    with pytest.raises(ShapeError, match=f"known to {sd_mm:.0f} mm only"):
        require_placed(moved)
