import numpy as np
import pytest
from numpy.testing import assert_allclose

from digitise.shape.foot.figures import volume_below
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.surface import PlacedShape


def test_a_right_foot_is_a_left_one_in_the_mirror():
    left, right = usual_foot("left"), usual_foot("right")
    assert_allclose(right.mean[:, 0], -left.mean[:, 0])
    volumes = [volume_below(foot.mean, foot.faces, 100.0) for foot in (left, right)]
    assert volumes[0] > 0  # outward faces
    assert_allclose(*volumes, rtol=1e-12)
    # the big toe is on the inner side: of a left foot at positive x
    for foot, inner in ((left, 1), (right, -1)):
        tip = foot.mean[np.argmax(foot.mean[:, 1])]
        assert tip[0] * inner > 0


@pytest.mark.parametrize("length", [220.0, 250.0, 280.0])
@pytest.mark.parametrize("share", [0.35, 0.42])
def test_feet_of_usual_sizes_are_likely(length, share):
    """Adults' feet are 220 to 280 mm long and 0.35 to 0.42 times as broad (common practice of shoemakers)."""
    prior = usual_foot("left")
    low = prior.mean[:, 2] < 60
    ends = [np.argmax(prior.mean[:, 1] * low), np.argmin(np.where(low, prior.mean[:, 1], 0))]
    sides = [np.argmax(np.where(low, prior.mean[:, 0], 0)), np.argmin(np.where(low, prior.mean[:, 0], 0))]
    rows = np.array(
        [
            prior.modes[:, ends[0], 1] - prior.modes[:, ends[1], 1],
            prior.modes[:, sides[0], 0] - prior.modes[:, sides[1], 0],
        ]
    )
    usual = np.array([np.ptp(prior.mean[ends, 1]), np.ptp(prior.mean[sides, 0])])
    # the likeliest parameters that give this length and breadth
    needed = np.linalg.pinv(rows) @ (np.array([length, share * length]) - usual)
    assert np.sqrt(needed @ needed) < 3.5  # of two parameters, 99.8 % lie within


def test_parameters_move_the_surface_as_their_motions_say():
    prior = usual_foot("right")
    rng = np.random.default_rng(3)
    surface = PlacedShape(prior, np.concatenate([rng.normal(size=len(prior.modes)), [12, -7, 0.1]]))
    some = rng.integers(0, len(prior.mean), 50)
    motions = surface.motions(some)
    step = 1e-5
    for number in range(len(surface.parameters)):
        there = np.zeros(len(surface.parameters))
        there[number] = step
        slope = (surface.moved(there).vertices[some] - surface.moved(-there).vertices[some]) / (2 * step)
        # the turn is round to second order: 250 mm x 1e-10
        assert_allclose(motions[number], slope, atol=1e-5)


def test_toes_point_where_the_foot_is_turned():
    prior = usual_foot("left")
    surface = PlacedShape(prior, np.concatenate([np.zeros(len(prior.modes)), [0, 0, 0.3]]))
    vertices = surface.vertices
    assert np.argmax(vertices @ surface.ahead) == np.argmax(prior.mean[:, 1])
