import numpy as np
import painted_feet as feet
import pytest

from digitise.capture.expected.outline import Look, find_body
from digitise.errors import ShapeError
from digitise.shape.end import EndPart
from digitise.shape.foot.figures import foot_length, foot_volume, volume_below
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.planes import planes_of_view, together
from digitise.shape.statistical.solve import solve_shape
from digitise.shape.statistical.surface import PlacedShape

TOP = 100.0


def solved(surface, side, rng, views=(0, 1, 2)):
    """The foot that painted photographs tell, in the two passes of the program."""
    cameras = [feet.cameras(side)[view] for view in views]
    pictures = [feet.paint(surface, camera, rng) for camera in cameras]
    now, leg = PlacedShape.usual(usual_foot(side)), feet.leg_above(surface)
    for slack, step in ((45.0, 1.8), (15.0, 0.9)):
        seen = [
            find_body(picture, camera, feet.body_of(now), leg, Look(slack, step))
            for picture, camera in zip(pictures, cameras, strict=True)
        ]
        planes = [
            planes_of_view(camera, outline.edge, n)
            for n, (camera, outline) in enumerate(zip(cameras, seen, strict=True))
        ]
        belief = solve_shape(now, together(planes))
        now = belief.surface
    return belief


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(4))
def test_finds_a_known_foot(seed):
    rng = np.random.default_rng(40 + seed)
    side = ("left", "right")[seed % 2]
    truth = feet.random_foot(side, rng)
    belief = solved(truth, side, rng)
    found = foot_volume(EndPart("foot", belief, TOP, belief.surface.vertices))
    true = volume_below(truth.vertices, truth.prior.faces, TOP) / 1000
    # edges to 0.3 mm on half-widths of 40 mm and heights of 60 mm
    assert abs(found.mean / true - 1) < 0.0125
    assert abs(found.mean - true) < 3 * found.sd
    vertices = truth.vertices
    assert abs(foot_length(belief).mean - np.ptp(vertices[vertices[:, 2] < 80] @ truth.ahead)) < 2.5
    turn = np.degrees(belief.surface.parameters[-1] - truth.parameters[-1])
    assert abs(turn) < 1.5


@pytest.mark.slow
def test_fewer_photographs_know_less():
    rng = np.random.default_rng(7)
    truth = feet.random_foot("left", rng)

    def sd(views):
        belief = solved(truth, "left", np.random.default_rng(1), views)
        return foot_volume(EndPart("foot", belief, TOP, belief.surface.vertices)).sd

    assert sd((0, 1, 2)) < sd((1, 2)) < sd((2,))


@pytest.mark.slow
def test_planes_that_contradict_each_other_do_not_settle_quietly():
    rng = np.random.default_rng(3)
    truth = feet.random_foot("left", rng)
    camera = feet.cameras("left")[2]
    outline = find_body(
        feet.paint(truth, camera, rng), camera, feet.body_of(truth), feet.leg_above(truth), Look(20.0, 0.9)
    )
    planes = planes_of_view(camera, outline.edge, 0)
    away = planes.__class__(
        planes.origin,
        planes.normal,
        planes.along,
        rng.normal(0, 60, len(planes.distance)),
        planes.sd,
        planes.view,
        planes.pixel_mm,
    )
    try:
        belief = solve_shape(PlacedShape.usual(usual_foot("left")), away)
    except ShapeError:
        return
    # the misfit tells of it, and the program refuses by it
    assert np.nanmedian(np.abs(belief.residual)) > 2.0
