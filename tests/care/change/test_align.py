"""Moving, mirroring and aligning limbs: closed forms, known motions, refusals."""

from dataclasses import replace

import numpy as np
import pytest
from drawn_limbs import Truth, leg_basis, nominal, seen, turned
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from digitise.care.change.align import align, align_and_solve, mirror
from digitise.care.change.compare import volume_change
from digitise.care.change.joint_posterior import SeparatePosteriors
from digitise.care.change.likeness import SAME_LIMB
from digitise.care.change.motion import Alignment, common_range, moved
from digitise.care.change.turn_evidence import gauss_rule
from digitise.care.surface.segments import Segment
from digitise.errors import ModelError
from digitise.shape.limb import girth, radius, volume

LOW, HIGH = 100.0, 500.0


def a_leg():
    basis = leg_basis(80, 840, 4)
    values = nominal(basis)
    values[3], values[4], values[5] = -0.1 * values[0], 0.02 * values[0], 0.03 * values[0]
    return Truth(basis, values)


@pytest.fixture(scope="module")
def leg():
    return seen(a_leg(), LOW, HIGH, np.random.default_rng(5), noise=False)


def motion(turn=0.0, shift=(0.0, 0.0), lean=(0.0, 0.0), pivot=(10.0, -80.0, 300.0)):
    return Alignment(
        turn,
        np.array(shift),
        np.array(lean),
        np.array(pivot),
        np.zeros((5, 5)),
        np.zeros(1),
        np.ones(1),
        np.zeros(1),
        np.ones(1),
    )


angles = st.floats(-np.pi, np.pi)
small = st.floats(-30, 30)


@given(turn=angles, x=small, y=small, theta=angles, z=st.floats(LOW, HIGH))
@settings(max_examples=40, deadline=None)
def test_motion_is_that_of_the_section(leg, turn, x, y, theta, z):
    there = moved(motion(turn, (x, y), (0.01, -0.02)), leg, leg)
    # a support function about the pivot turns with the limb; a shift adds its part along the normal
    n, back = np.array([np.cos(theta), np.sin(theta)]), np.array([np.cos(theta - turn), np.sin(theta - turn)])
    pivot = np.array([10.0, -80.0])
    shift = np.array([x, y]) + np.array([0.01, -0.02]) * (z - 300)
    before = radius(leg, np.array([theta - turn]), np.array([z]))
    after = radius(there, np.array([theta]), np.array([z]))
    assert_allclose(after.mean, before.mean - back @ pivot + n @ (pivot + shift), atol=1e-8)
    assert_allclose(after.sd, before.sd, rtol=1e-6)


def test_motion_keeps_girth_and_volume(leg):
    there = moved(motion(0.4, (12, -7), (0.01, 0.02)), leg, leg)
    z = np.array([120.0, 300, 480])
    assert_allclose(girth(there, z).mean, girth(leg, z).mean)
    assert_allclose(volume(there, LOW, HIGH), volume(leg, LOW, HIGH), rtol=1e-9)


@given(theta=angles, z=st.floats(LOW, HIGH))
@settings(max_examples=30, deadline=None)
def test_mirror_looks_from_the_other_side(leg, theta, z):
    other = mirror(leg)
    assert other.side == "right"
    here = radius(leg, np.array([np.pi - theta]), np.array([z]))
    there = radius(other, np.array([theta]), np.array([z]))
    assert_allclose(there.mean, here.mean, atol=1e-9)
    assert_allclose(there.sd, here.sd, rtol=1e-6)


def test_mirror_twice_is_nothing(leg):
    again = mirror(mirror(leg))
    assert again.side == leg.side
    for name in ("mean", "covariance", "prior_mean", "prior_precision"):
        assert_allclose(getattr(again, name), getattr(leg, name))


def stood_otherwise(truth, turn, shift):
    values = turned(truth.basis, truth.values, -turn)
    values[1] += shift[0]
    values[2] += shift[1]
    return Truth(truth.basis, values)


@pytest.mark.parametrize("turn", [-0.12, 0.0, 0.08])
def test_known_stance_is_found_within_its_interval(turn):
    truth = a_leg()
    rng = np.random.default_rng(8)
    first = seen(truth, LOW, HIGH, rng)
    second = seen(stood_otherwise(truth, turn, (15, -9)), LOW + 10, HIGH - 10, rng)
    found = align(first, second)
    assert abs(found.turn - turn) < 2.6 * np.sqrt(found.covariance[0, 0])
    assert found.turn_degrees[1] < 7.0
    there = moved(found, second, first)
    z = np.array([150.0, 300, 450])
    for theta in (0.0, np.pi / 2):
        # seen edges lie on one another to what 0.2 mm of outline and some 5 degrees of turn allow
        at = np.full(3, theta)
        assert_allclose(radius(there, at, z).mean, radius(first, at, z).mean, atol=2.0)


def test_given_turn_is_kept():
    truth, rng = a_leg(), np.random.default_rng(2)
    first = seen(truth, LOW, HIGH, rng)
    second = seen(stood_otherwise(truth, 0.3, (0, 0)), LOW, HIGH, rng)
    found = align(first, second, turn=0.3)
    assert found.turn == 0.3
    assert found.covariance[0, 0] == 0.0
    here, there = (
        radius(limb, np.zeros(3), np.array([150.0, 300, 450]))
        for limb in (first, moved(found, second, first))
    )
    # the second saw the limb 17 degrees off: what lies between its views is as sure as it says
    assert np.all(np.abs(there.mean - here.mean) < 2.6 * np.hypot(there.sd, here.sd))


def test_local_swelling_does_not_drag_the_rest_along():
    truth, rng = a_leg(), np.random.default_rng(4)
    swollen = truth.values.copy()
    bell = 15 * np.exp(-0.5 * ((truth.basis.places - 200) / 40) ** 2)
    swollen[0] += bell
    swollen[1] += 0.8 * bell
    first = seen(truth, LOW, HIGH, rng)
    second = seen(Truth(truth.basis, swollen), LOW, HIGH, rng)
    found = align(first, second, turn=0.0)
    there = moved(found, second, first)
    z = np.array([350.0, 420, 480])
    # plain means of the centres would be 3 mm off
    assert_allclose(
        there.basis.splines(z) @ there.mean.reshape(9, -1)[1],
        first.basis.splines(z) @ first.mean.reshape(9, -1)[1],
        atol=1.2,
    )


def test_common_range_is_what_both_know(leg):
    assert common_range(leg, replace(leg, from_mm=150.0, to_mm=600.0)) == (150.0, HIGH)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "arm"}, "left leg, the other of a left arm"),
        ({"side": "right"}, "left leg, the other of a right leg"),
        ({"from_mm": 460.0, "to_mm": 900.0}, "less than 50 mm"),
        ({"from_mm": 700.0, "to_mm": 900.0}, "less than 50 mm"),
    ],
)
def test_refusals(leg, change, words):
    with pytest.raises(ModelError, match=words):
        align(leg, replace(leg, **change))


@given(count=st.integers(1, 4), seed=st.integers(0, 1000))
@settings(max_examples=30, deadline=None)
def test_few_turns_stand_for_many(count, seed):
    rng = np.random.default_rng(seed)
    turns, weight = np.sort(rng.uniform(-0.5, 0.5, 7)), rng.dirichlet(np.ones(7))
    nodes, share = gauss_rule(turns, weight, count)
    assert len(nodes) == count
    # Gauss's rule is exact to degree 2 count - 1
    for power in range(2 * count):
        assert_allclose(share @ nodes**power, weight @ turns**power, atol=1e-9)


def test_one_turn_stands_for_itself():
    nodes, share = gauss_rule(np.array([0.2]), np.ones(1), 3)
    assert (nodes.tolist(), share.tolist()) == ([0.2], [1.0])


def test_three_turns_give_the_average_over_all():
    truth, rng = a_leg(), np.random.default_rng(11)
    tape = (120.0, 250.0, 400.0)
    first = seen(truth, LOW, HIGH, rng, tape=tape)
    second = seen(stood_otherwise(truth, 0.15, (10, -5)), LOW, HIGH + 20, rng, tape=tape)
    found, joint = align_and_solve(first, second)
    apart = SeparatePosteriors.of(first, second, found.level_mm, same_sheets=True)
    each = [apart.joined(replace(found, turn=float(turn)), SAME_LIMB) for turn in found.turns]
    mean = sum(w * m for w, (m, _) in zip(found.weight, each, strict=True))
    spread = sum(w * (s + np.outer(m - mean, m - mean)) for w, (m, s) in zip(found.weight, each, strict=True))
    here, there = change_ml(replace(joint, mean=mean, covariance=spread)), change_ml(joint)
    # the tolerance that is stated where the number of turns is set: 1 % of an sd
    assert_allclose(there, here, atol=0.01 * here[1])


def change_ml(joint):
    change = volume_change(joint, Segment("whole", joint.low, joint.high)).change_ml
    return np.array([change.mean, change.sd])
