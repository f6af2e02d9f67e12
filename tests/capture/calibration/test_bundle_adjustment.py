"""The least-squares core: derivatives, exact points, honest covariance."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.bundle_adjustment import Points, State, jacobian, predict, solve, spread
from digitise.capture.calibration.lens import LensPrior
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose

GRID = np.stack([*np.meshgrid(np.linspace(-300, 300, 5), np.linspace(-400, 400, 6)), np.zeros((6, 5))], -1)
GRID = GRID.reshape(-1, 3)
WIDE = LensPrior(np.array([3000.0, 1500, 2000, 0, 0]), np.diag([300.0, 100, 100, 1, 1]) ** 2)


def state_of(rng, views=2, bodies=1) -> State:
    """Cameras about 2 m before the grid, bodies beside it."""
    turns = Rotation.from_rotvec(
        np.array([np.pi, 0, 0]) + rng.normal(0, 0.3, (views + bodies, 3))
    ).as_matrix()
    far = [Pose(t, np.array([0, 0, 2000.0]) + rng.normal(0, 50, 3)) for t in turns[:views]]
    near = [Pose(t, rng.normal(0, 300, 3)) for t in turns[views:]]
    return State(np.array([[3000.0, 1510, 1990, 0.05, -0.03]]), np.zeros(views, int), tuple(far), tuple(near))


def points_of(state: State) -> Points:
    """The grid on the world and on every body, seen by every view, exactly."""
    n, rows = len(GRID), []
    for view in range(len(state.views)):
        for body in range(-1, len(state.bodies)):
            rows.append((view, body))
    view, body = (np.repeat([row[k] for row in rows], n) for k in (0, 1))
    blank = Points(
        np.tile(GRID, (len(rows), 1)), np.zeros((n * len(rows), 2)), np.ones(n * len(rows)), view, body
    )
    return Points(blank.xyz, predict(state, blank), blank.sd, view, body)


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10**6), st.floats(0, 1))
def test_derivative_agrees_with_finite_differences(seed, size):
    rng = np.random.default_rng(seed)
    state = state_of(rng)
    points = points_of(state)
    step = (
        size * rng.normal(0, 1, state.size) * np.r_[30, 10, 10, 0.05, 0.05, np.tile([0.3] * 3 + [30] * 3, 3)]
    )
    analytic = jacobian(state.moved(step), points, step)
    for k, h in enumerate([1e-2, 1e-2, 1e-2, 1e-6, 1e-6] + [1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-3] * 3):
        nudge = np.zeros(state.size)
        nudge[k] = h
        up, down = (predict(state.moved(step + s * nudge), points) for s in (1, -1))
        numeric = (up - down).reshape(-1) / (2 * h)
        # central differences: rounding 1e-13 * 4000 px / h, relative to columns of size >= 1
        assert np.max(np.abs(numeric - analytic[:, k])) < 2e-5 * max(1.0, np.max(np.abs(numeric)))


def test_prediction_is_the_camera_model(rng):
    state = state_of(rng)
    points = points_of(state)
    lens = state.lenses[0]
    cameras = [Camera(Lens(lens[0], lens[1:3], lens[3], lens[4]), view, (3000, 4000)) for view in state.views]
    for n in range(0, len(points.xyz), 7):
        world = points.xyz[n] if points.body[n] < 0 else state.bodies[points.body[n]].apply(points.xyz[n])
        assert np.allclose(cameras[points.view[n]].project(world), points.pixels[n], atol=1e-9)


def test_exact_points_give_the_exact_state(rng):
    true = state_of(rng)
    points = replace(points_of(true), sd=np.full(4 * len(GRID), 1e-3))  # so sure that the prior does not pull
    off = np.r_[60, 10, -10, -0.05, 0.03, np.tile([0.05, -0.04, 0.03, 20, -20, 30], 3)]
    found = solve(true.moved(off), points, [WIDE]).state
    assert found.lenses[0, 0] == pytest.approx(true.lenses[0, 0], rel=1e-6)
    for a, b in zip((*found.views, *found.bodies), (*true.views, *true.bodies), strict=True):
        assert np.allclose(a.rotation, b.rotation, atol=1e-6)
        assert np.allclose(a.translation, b.translation, atol=1e-3)  # 1e-6 of the 2 m


@pytest.mark.slow
def test_covariance_is_the_scatter_of_repeated_solves(rng):
    true = state_of(rng)
    exact = points_of(true)
    found, stated = [], None
    for _ in range(60):
        noisy = exact.pixels + rng.normal(0, 0.3, exact.pixels.shape)
        points = Points(exact.xyz, noisy, np.full(len(noisy), 0.3), exact.view, exact.body)
        solution = solve(true, points, [WIDE])
        # the step back to the truth, in the covariance's own unknowns
        poses = zip((*solution.state.views, *solution.state.bodies), (*true.views, *true.bodies), strict=True)
        steps = [
            np.r_[Rotation.from_matrix(a.rotation @ b.rotation.T).as_rotvec(), a.translation - b.translation]
            for a, b in poses
        ]
        found.append(np.concatenate([(solution.state.lenses - true.lenses).ravel(), *steps]))
        stated = solution.covariance
    ratio = np.std(found, axis=0) / np.sqrt(np.diag(stated))
    # 60 repeats know a standard deviation to 1 / sqrt(120) = 9 %; four of those
    assert np.all(np.abs(ratio - 1) < 0.36)


def test_wrong_points_do_not_move_a_robust_solve_much(rng):
    true = state_of(rng)
    exact = points_of(true)
    pixels = exact.pixels + rng.normal(0, 0.2, exact.pixels.shape)
    wrong = rng.choice(len(pixels), 6, replace=False)
    pixels[wrong] += 150
    points = Points(exact.xyz, pixels, np.full(len(pixels), 0.2), exact.view, exact.body)
    plain, robust = (solve(true, points, [WIDE], robust=choice).state for choice in (False, True))
    error = [np.linalg.norm(s.views[0].translation - true.views[0].translation) for s in (plain, robust)]
    assert error[1] < 0.1 * error[0]


def test_larger_residuals_widen_the_covariance(rng):
    true = state_of(rng)
    exact = points_of(true)
    noisy = exact.pixels + rng.normal(0, 1.0, exact.pixels.shape)
    sd = [
        np.sqrt(
            solve(
                true, Points(exact.xyz, noisy, np.full(len(noisy), s), exact.view, exact.body), [WIDE]
            ).covariance[5, 5]
        )
        for s in (0.1, 1.0)
    ]
    # the level is estimated to 1 / sqrt(2 * 240) = 5 %
    assert sd[0] == pytest.approx(sd[1], rel=0.15)


def test_spread_is_a_median_ratio(rng):
    residuals = rng.normal(0, 0.4, (2000, 2))
    residuals[:300] = 50
    assert spread(residuals, np.full(2000, 0.1)) == pytest.approx(4.0 * 1.2, rel=0.15)
    assert spread(np.zeros((5, 2)), np.ones(5)) == 1.0
