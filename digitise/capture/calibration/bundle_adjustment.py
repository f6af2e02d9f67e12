"""Joint least squares of lenses, views and bodies over points seen in pictures.

A *view* is a picture's pose (camera from world).  A *body* is a rigid thing with known points; body -1 is the
world itself.  Rotations move as ``exp(w) R``, with the step ``w`` counted from the start of a solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.lens import LensPrior
from digitise.capture.calibration.robust import huber_root, huber_root_slope
from digitise.errors import PoseError
from digitise.geometry.rigid import Array, Pose, cross_matrices, left_jacobians

IntArray = NDArray[np.intp]
LENS = 5  # parameters of a lens
POSE = 6  # of a pose: rotation vector (rad), translation (mm)
_NEAREST_MM = 1.0  # keeps a trial step that puts a point behind the camera finite
_MAX_EVALUATIONS = 200
_FINE = 1e-12
_CHI2_MEDIAN = 0.4549  # of one degree of freedom
_ROUGH = 1e-4
_CLEARLY = 1.1


@dataclass(frozen=True, eq=False)
class Points:
    """Known points and where they were seen.

    Attributes
    ----------
    xyz
        (N, 3) mm in the frame of their body.
    pixels
        (N, 2) px.
    sd
        (N,) standard deviation of the pixels along either axis.
    view, body
        (N,) which view and which body (-1: the world).
    """

    xyz: Array
    pixels: Array
    sd: Array
    view: IntArray
    body: IntArray


@dataclass(frozen=True, eq=False)
class State:
    """The unknowns.

    Attributes
    ----------
    lenses
        (L, 5) in the order of ``lens.PARAMETERS``.
    lens_of
        (V,) the lens of every view.
    views, bodies
        Camera-from-world and world-from-body.
    """

    lenses: Array
    lens_of: IntArray
    views: tuple[Pose, ...]
    bodies: tuple[Pose, ...]

    @property
    def size(self) -> int:
        """Number of unknowns: lenses first, then views, then bodies."""
        return LENS * len(self.lenses) + POSE * (len(self.views) + len(self.bodies))

    def view_slice(self, view: int) -> slice:
        """Return where a view's six unknowns stand."""
        start = LENS * len(self.lenses) + POSE * view
        return slice(start, start + POSE)

    def body_slice(self, body: int) -> slice:
        """Return where a body's six unknowns stand."""
        return self.view_slice(len(self.views) + body)

    def moved(self, step: Array) -> State:
        """Return the state after a step (size,)."""
        split = LENS * len(self.lenses)
        poses = (*self.views, *self.bodies)
        steps = step[split:].reshape(-1, POSE)
        turns = Rotation.from_rotvec(steps[:, :3]).as_matrix()
        new = tuple(
            Pose(turn @ pose.rotation, pose.translation + move[3:])
            for pose, turn, move in zip(poses, turns, steps, strict=True)
        )
        lenses = self.lenses + step[:split].reshape(-1, LENS)
        return replace(self, lenses=lenses, views=new[: len(self.views)], bodies=new[len(self.views) :])


@dataclass(frozen=True, eq=False)
class Solution:
    """A solved state with the covariance (size, size) of its unknowns and the residuals (N, 2) in px."""

    state: State
    covariance: Array
    residuals: Array


class Belief(Protocol):
    """Something that is known of the unknowns beside points and lenses, in standard deviations."""

    def residuals(self, state: State) -> Array:
        """Return by how much it is off (N,)."""

    def rows(self, state: State, step: Array) -> Array:
        """Return the derivative (N, size) of that by the step that led to the state."""


def predict(state: State, points: Points) -> Array:
    """Return (N, 2) px where the state puts the points."""
    local, _ = _local(state, points)
    plane = local[:, :2] / local[:, 2:]
    lens = state.lenses[state.lens_of[points.view]]
    r2 = np.sum(plane**2, axis=1, keepdims=True)
    stretch = 1 + r2 * (lens[:, 3:4] + r2 * lens[:, 4:5])
    return np.asarray(lens[:, :1] * plane * stretch + lens[:, 1:3])


def _local(state: State, points: Points) -> tuple[Array, Array]:
    """Return the points in the camera's and in the world frame, (N, 3) mm."""
    with_world = (*state.bodies, Pose.identity())  # index -1 is the world
    turn = np.stack([pose.rotation for pose in with_world])[points.body]
    shift = np.stack([pose.translation for pose in with_world])[points.body]
    world = np.einsum("nij,nj->ni", turn, points.xyz) + shift
    turn = np.stack([pose.rotation for pose in state.views])[points.view]
    shift = np.stack([pose.translation for pose in state.views])[points.view]
    local = np.einsum("nij,nj->ni", turn, world) + shift
    local[:, 2] = np.maximum(local[:, 2], _NEAREST_MM)
    return local, world


def jacobian(state: State, points: Points, step: Array | None = None) -> Array:
    """Return the derivative (2N, size) of the predicted pixels by the unknowns.

    ``step`` is the step (size,) that led to this state, when the derivative is wanted by that step.
    """
    n = len(points.xyz)
    local, world = _local(state, points)
    plane = local[:, :2] / local[:, 2:]
    lens = state.lenses[state.lens_of[points.view]]
    f, k1, k2 = lens[:, 0], lens[:, 3], lens[:, 4]
    r2 = np.sum(plane**2, axis=1)
    stretch = 1 + r2 * (k1 + r2 * k2)
    radial = plane[:, :, None] * plane[:, None, :] * (2 * k1 + 4 * k2 * r2)[:, None, None]
    by_plane = f[:, None, None] * (stretch[:, None, None] * np.eye(2) + radial)
    by_local = by_plane @ _plane_by_local(local)
    by_lens = np.zeros((n, 2, LENS))
    by_lens[:, :, 0] = plane * stretch[:, None]
    by_lens[:, :, 1:3] = np.eye(2)
    by_lens[:, :, 3] = (f * r2)[:, None] * plane
    by_lens[:, :, 4] = (f * r2 * r2)[:, None] * plane
    out = np.zeros((n, 2, state.size))
    rows = np.arange(n)
    _put(out, rows, LENS * state.lens_of[points.view], by_lens)
    left = _step_jacobians(state, step)
    views, bodies = left[: len(state.views)], left[len(state.views) :]
    turn = np.stack([pose.rotation for pose in state.views])[points.view]
    swing = -cross_matrices(np.einsum("nij,nj->ni", turn, world)) @ views[points.view]
    first = LENS * len(state.lenses)
    _put(out, rows, first + POSE * points.view, np.concatenate([by_local @ swing, by_local], axis=2))
    on = rows[points.body >= 0]
    if len(on):
        body = points.body[on]
        about = world[on] - np.stack([pose.translation for pose in state.bodies])[body]
        by_world = by_local[on] @ turn[on]
        swing = -cross_matrices(about) @ bodies[body]
        start = first + POSE * (len(state.views) + body)
        _put(out, on, start, np.concatenate([by_world @ swing, by_world], axis=2))
    return out.reshape(2 * n, state.size)


def _plane_by_local(local: Array) -> Array:
    x, y, z = local.T
    zero = np.zeros_like(z)
    return np.stack([1 / z, zero, -x / z**2, zero, 1 / z, -y / z**2], axis=-1).reshape(-1, 2, 3)


def _put(out: Array, rows: IntArray, start: IntArray, block: Array) -> None:
    """Write block (n, 2, k) into ``out[rows, :, start:start + k]``."""
    columns = start[:, None] + np.arange(block.shape[2])
    out[rows[:, None], :, columns] = block.transpose(0, 2, 1)


def _step_jacobians(state: State, step: Array | None) -> Array:
    count = len(state.views) + len(state.bodies)
    if step is None:
        return np.broadcast_to(np.eye(3), (count, 3, 3))
    return left_jacobians(step[LENS * len(state.lenses) :].reshape(-1, POSE)[:, :3])


def solve(
    start: State,
    points: Points,
    priors: Sequence[LensPrior],
    beliefs: Sequence[Belief] = (),
    *,
    robust: bool = False,
) -> Solution:
    """Find the most probable state, given the points and the priors of the lenses.

    Where the residuals are clearly larger than their stated sd, the sd are raised to what the residuals show
    and the solve is repeated, so that priors and points keep their due weight.  A robust solve is left rough:
    it tells right points from wrong and starts the final one.

    Parameters
    ----------
    start
        Where to begin.
    points
        What was seen; ``sd`` weighs it.
    priors
        One per lens.
    beliefs
        What else is known.
    robust
        Let residuals beyond three sd count linearly (Huber), against wrong points.

    Raises
    ------
    PoseError
        When the solve does not settle.
    """
    state = _optimum(start, points, priors, beliefs, robust)
    level = float(np.sqrt(_reduced_chi2(state, points)))
    if level > _CLEARLY and not robust:
        points = replace(points, sd=points.sd * level)
        state = _optimum(state, points, priors, beliefs, robust)
    chi2 = _reduced_chi2(state, points)
    known = [each.rows(state, np.zeros(state.size)) for each in beliefs]
    rows = np.vstack([_weighted_jacobian(state, points), _prior_rows(priors, state.size), *known])
    covariance = _inverse_normal(rows) * max(1.0, chi2)
    return Solution(state, covariance, predict(state, points) - points.pixels)


def spread(residuals: Array, sd: Array) -> float:
    """Return how many times their stated sd (N,) the residuals (N, 2) spread, from the median; at least 1."""
    z2 = (residuals / sd[:, None]) ** 2
    return max(1.0, float(np.sqrt(np.median(z2) / _CHI2_MEDIAN)))


def _optimum(
    start: State, points: Points, priors: Sequence[LensPrior], beliefs: Sequence[Belief], robust: bool
) -> State:
    weight = np.repeat(1.0 / points.sd, 2)
    prior_rows = _prior_rows(priors, start.size)

    def seen(state: State) -> Array:
        return (predict(state, points) - points.pixels).reshape(-1) * weight

    def residuals(step: Array) -> Array:
        state = start.moved(step)
        belief = [p.whiten @ (lens - p.mean) for lens, p in zip(state.lenses, priors, strict=True)]
        belief += [each.residuals(state) for each in beliefs]
        return np.concatenate([huber_root(seen(state)) if robust else seen(state), *belief])

    def derivative(step: Array) -> Array:
        state = start.moved(step)
        rows = _weighted_jacobian(state, points, step)
        if robust:
            rows *= huber_root_slope(seen(state))[:, None]
        return np.vstack([rows, prior_rows, *(each.rows(state, step) for each in beliefs)])

    tolerance = _ROUGH if robust else _FINE
    found = least_squares(
        residuals,
        np.zeros(start.size),
        derivative,
        method="lm",
        x_scale="jac",
        ftol=tolerance,
        xtol=tolerance,
        gtol=tolerance,
        max_nfev=_MAX_EVALUATIONS,
    )
    # 0: evaluations ran out; a rough solve only starts the final one, and may stop short
    if found.status <= 0 and not robust:
        raise PoseError(
            "The cameras do not settle on one place each.",
            do="Check that the sheets lie flat and belong to field.json, and take the photographs again.",
        )
    return start.moved(found.x)


def _weighted_jacobian(state: State, points: Points, step: Array | None = None) -> Array:
    return jacobian(state, points, step) / np.repeat(points.sd, 2)[:, None]


def _reduced_chi2(state: State, points: Points) -> float:
    z = (predict(state, points) - points.pixels) / points.sd[:, None]
    freedom = z.size - POSE * (len(state.views) + len(state.bodies))
    return float(np.sum(z**2)) / max(freedom, 1)


def _prior_rows(priors: Sequence[LensPrior], size: int) -> Array:
    rows = np.zeros((LENS * len(priors), size))
    for k, prior in enumerate(priors):
        rows[LENS * k : LENS * (k + 1), LENS * k : LENS * (k + 1)] = prior.whiten
    return rows


def _inverse_normal(rows: Array) -> Array:
    """Return ``(rows.T rows)^-1``; scaling the columns first keeps it accurate across units."""
    scale = np.linalg.norm(rows, axis=0)
    scaled = rows / scale
    return np.asarray(np.linalg.inv(scaled.T @ scaled) / np.outer(scale, scale))
