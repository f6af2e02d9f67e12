"""Which boards stood still between photographs: tested, not assumed."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation
from scipy.special import chdtri

from digitise.capture.calibration.bundle_adjustment import POSE, Solution, State
from digitise.capture.calibration.setup import Key
from digitise.geometry.rigid import Pose

STILL_MM = 3.0  # a board that moved less counts as still: paper on a wall keeps its place no better
STILL_RAD = float(np.deg2rad(0.3))
QUANTILE = 0.999

_LIMIT = float(chdtri(POSE, 1.0 - QUANTILE))


def still_groups(bodies: Mapping[Key, int], solution: Solution) -> list[list[Key]]:
    """Group the (photograph, board) pairs between which a board stood still, ordered by board.

    A pair joins a group when it agrees with every member, so that slow drift does not chain.

    Parameters
    ----------
    bodies
        The body of every pair in ``solution``.
    solution
        A solution in which a board may lie elsewhere in every photograph.
    """
    groups: list[list[Key]] = []
    for key in sorted(bodies, key=lambda k: (k[1], k[0])):
        for group in groups:
            if group[0][1] == key[1] and all(_still(bodies[key], bodies[k], solution) for k in group):
                group.append(key)
                break
        else:
            groups.append([key])
    return groups


def stuck_groups(groups: Sequence[Sequence[Key]], stuck: Collection[int]) -> list[list[Key]]:
    """Return the groups with all of each board among ``stuck`` in one."""
    found: list[list[Key]] = []
    place: dict[int, list[Key]] = {}
    for group in groups:
        board = group[0][1]
        if board in place:
            place[board].extend(group)
            continue
        found.append(list(group))
        if board in stuck:
            place[board] = found[-1]
    return found


def shared_state(groups: Sequence[Sequence[Key]], bodies: Mapping[Key, int], solution: Solution) -> State:
    """Return the state with one body per group, each at its surest place."""
    place = tuple(_surest(group, bodies, solution) for group in groups)
    return replace(solution.state, bodies=place)


def _still(a: int, b: int, solution: Solution) -> bool:
    """Test whether two bodies, one board in two photographs, have the same pose.

    Moved means both: a difference that matters, and one that the joint covariance cannot explain.
    """
    if a == b:
        return True
    state, c = solution.state, solution.covariance
    turn = Rotation.from_matrix(state.bodies[b].rotation @ state.bodies[a].rotation.T).as_rotvec()
    shift = state.bodies[b].translation - state.bodies[a].translation
    if np.linalg.norm(turn) < STILL_RAD and np.linalg.norm(shift) < STILL_MM:
        return True
    first, second = state.body_slice(a), state.body_slice(b)
    doubt = c[first, first] + c[second, second] - c[first, second] - c[second, first]
    difference = np.concatenate([turn, shift])
    return float(difference @ np.linalg.solve(doubt, difference)) < _LIMIT


def _surest(group: Sequence[Key], bodies: Mapping[Key, int], solution: Solution) -> Pose:
    """Return the pose of the group's member with the smallest variance of place."""

    def variance(key: Key) -> float:
        where = solution.state.body_slice(bodies[key])
        return float(np.trace(solution.covariance[where, where][3:, 3:]))

    return solution.state.bodies[bodies[min(group, key=variance)]]
