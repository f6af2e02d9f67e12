"""Where every photograph was taken: the joint solve of lenses, cameras and boards over all markers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2 as chi2_distribution

from digitise.capture.bundle import (
    LENS,
    POSE,
    IntArray,
    Points,
    Solution,
    State,
    jacobian,
    solve,
    spread,
    vector_from_rotation,
)
from digitise.capture.field import MarkerField
from digitise.capture.lens import (
    LensPrior,
    LensProfile,
    generic_prior,
    lens_from_vector,
    profile_prior,
    vector_from_lens,
)
from digitise.capture.sightings import FEWEST_MARKERS, MarkedPhoto, Sightings, gather
from digitise.capture.start import board_pose
from digitise.errors import PoseError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose, rotation_angle

REJECT_PX = 5.0
REJECT_SD = 6.0
MAX_RMS_PX = 3.0
MAX_REJECTED_SHARE = 1 / 3
STILL_MM = 3.0  # a board that moved less is taken as still: paper on a wall does not keep its place better
STILL_RAD = np.deg2rad(0.3)
STILL_QUANTILE = 0.999  # of chi-square with six degrees of freedom
_MAX_MODES = 12
_NEGLIGIBLE_MODE = 0.01  # of the strongest mode's effect in the pictures
_REFERENCE_HEIGHTS_MM = (50.0, 250.0, 450.0, 650.0, 850.0)

Key = tuple[int, int]  # photograph, board


@dataclass(frozen=True)
class Calibration:
    """Solved cameras and boards; the world is the frame of the mat, mm.

    Attributes
    ----------
    cameras
        One per photograph.
    boards
        Per photograph, world-from-board by board name, the mat included.
    still
        Per board name, the groups of photographs (indices) between which it did not move.
    rms_px
        Per photograph, rms distance of marker corners from where the solution puts them, px.
    used, rejected
        Per photograph, ids of the markers that entered, and of those left out with their distance in px.
    lens_of
        Per photograph, the number of its lens.
    covariance
        Of all unknowns: five per lens (``lens.PARAMETERS``), then per photograph and per still group of a board
        (in the order of ``still``) a left rotation step (rad) and a translation (mm).
    camera_modes
        Independent directions of doubt: element j holds all cameras moved by one standard deviation along
        direction j, strongest effect in the pictures first.
    """

    cameras: tuple[Camera, ...]
    boards: tuple[Mapping[str, Pose], ...]
    still: Mapping[str, tuple[tuple[int, ...], ...]]
    rms_px: tuple[float, ...]
    used: tuple[tuple[int, ...], ...]
    rejected: tuple[Mapping[int, float], ...]
    lens_of: tuple[int, ...]
    covariance: Array
    camera_modes: tuple[tuple[Camera, ...], ...]


@dataclass(frozen=True)
class _Problem:
    """What stays fixed during a calibration."""

    photos: tuple[MarkedPhoto, ...]
    field: MarkerField
    priors: tuple[LensPrior, ...]
    lens_of: IntArray
    mat: int  # index of the world board


def calibrate(
    photos: Sequence[MarkedPhoto], field: MarkerField, profile: LensProfile | None = None
) -> Calibration:
    """Solve lenses, cameras and boards jointly from marker corners.

    Photographs of one phone at one setting share a lens.  Every board but the mat may have moved between
    photographs; where it demonstrably has not, its pose is shared.

    Raises
    ------
    PoseError
        When a photograph does not show the mat well enough, or its markers do not agree.
    LensError
        When the profile belongs to another camera.
    """
    problem = _problem(photos, field, profile)
    seen = gather(photos, field)
    _require_mat(problem, seen)
    seen = seen.well_seen()
    bodies = _bodies_apart(seen, problem.mat)
    solution = _solve(problem, seen, bodies, _start(problem, seen, bodies), robust=True)
    kept, bodies, solution, rejected = _without_wrong(problem, seen, bodies, solution)
    groups = _still_groups(bodies, solution)
    shared = {key: n for n, group in enumerate(groups) for key in group}
    start = replace(solution.state, bodies=tuple(_surest(group, bodies, solution) for group in groups))
    solution = _solve(problem, kept, shared, start)
    _require_agreement(problem, kept, solution)
    return _calibration(problem, kept, rejected, groups, solution)


def lens_groups(photos: Sequence[MarkedPhoto]) -> list[int]:
    """Number the lenses: photographs of one phone, setting and picture size share one."""
    keys = [(p.lens_key, p.size, p.focal_35mm if p.lens_key is None else None) for p in photos]
    order = list(dict.fromkeys(keys))
    return [order.index(key) for key in keys]


def lens_priors(photos: Sequence[MarkedPhoto], profile: LensProfile | None) -> tuple[LensPrior, ...]:
    """Return what is known of every lens of :func:`lens_groups` beforehand."""
    groups = lens_groups(photos)
    first = [photos[groups.index(n)] for n in range(max(groups) + 1)]
    if profile is None:
        return tuple(generic_prior(photo.size, photo.focal_35mm) for photo in first)
    return tuple(profile_prior(profile, photo.size, photo.lens_key) for photo in first)


def _problem(photos: Sequence[MarkedPhoto], field: MarkerField, profile: LensProfile | None) -> _Problem:
    lens_of = np.array(lens_groups(photos), np.intp)
    mat = field.boards.index(field.mat)
    return _Problem(tuple(photos), field, lens_priors(photos, profile), lens_of, mat)


def _require_mat(problem: _Problem, seen: Sightings) -> None:
    for p, photo in enumerate(problem.photos):
        count = len(seen.of(p, problem.mat).marker)
        if count == 0:
            raise PoseError(
                f"The mat ({problem.field.mat.name}) is not in the photograph.",
                where=photo.name,
                do="Take it again with the whole mat in the picture.",
            )
        if count < FEWEST_MARKERS:
            raise PoseError(
                "Nearly all markers of the mat are hidden or too small to read: only one was found.",
                where=photo.name,
                do="Keep the other foot and clothing off the mat, step closer, and take it again.",
            )


def _bodies_apart(seen: Sightings, mat: int) -> dict[Key, int]:
    """Give every board in every photograph its own body."""
    return {key: n for n, key in enumerate(k for k in seen.pairs() if k[1] != mat)}


def _points(seen: Sightings, body_of: Mapping[Key, int]) -> Points:
    pairs = seen.pairs()
    return seen.points({key: key[0] for key in pairs}, {key: body_of.get(key, -1) for key in pairs})


def _start(problem: _Problem, seen: Sightings, bodies: Mapping[Key, int]) -> State:
    lenses = np.stack([prior.mean for prior in problem.priors])
    views = {}
    for p, board in sorted(seen.pairs(), key=lambda key: key[1] != problem.mat):
        views[p, board] = _first_pose(problem, seen, (p, board))
    world = [views[p, problem.mat] for p in range(len(problem.photos))]
    return State(
        lenses, problem.lens_of, tuple(world), tuple(world[p].inverse() @ views[p, b] for p, b in bodies)
    )


def _first_pose(problem: _Problem, seen: Sightings, key: Key) -> Pose:
    lens = lens_from_vector(problem.priors[problem.lens_of[key[0]]].mean)
    own = seen.of(*key)
    pose = board_pose(lens, own.xyz.reshape(-1, 3), own.pixels.reshape(-1, 2))
    if pose is None:
        raise PoseError(
            f"The markers {_listed(own.marker)} of {problem.field.boards[key[1]].name} do not form one flat sheet.",
            where=problem.photos[key[0]].name,
            do="Check that the sheet lies flat, is whole, and that field.json belongs to it.",
        )
    return pose


def _solve(
    problem: _Problem, seen: Sightings, bodies: Mapping[Key, int], start: State, *, robust: bool = False
) -> Solution:
    return solve(start, _points(seen, bodies), problem.priors, robust=robust)


def _without_wrong(
    problem: _Problem, seen: Sightings, bodies: Mapping[Key, int], solution: Solution
) -> tuple[Sightings, dict[Key, int], Solution, tuple[dict[int, float], ...]]:
    """Leave out markers that the others contradict, solve again, and repeat until none is left.

    Returns
    -------
    The kept sightings, their bodies and solution, and per photograph the distance (px) of each marker left out.
    """
    rejected: tuple[dict[int, float], ...] = tuple({} for _ in problem.photos)
    bodies = dict(bodies)
    wrong = _wrong(seen, solution, rejected)
    while True:
        _limit_rejected(problem, seen, wrong, rejected)
        seen = seen.subset(~wrong).well_seen()
        _require_mat(problem, seen)
        left = _bodies_apart(seen, problem.mat)
        state = replace(solution.state, bodies=tuple(solution.state.bodies[bodies[key]] for key in left))
        bodies = left
        solution = _solve(problem, seen, bodies, state)
        wrong = _wrong(seen, solution, rejected)
        if not wrong.any():
            return seen, bodies, solution, rejected


def _wrong(seen: Sightings, solution: Solution, rejected: Sequence[dict[int, float]]) -> NDArray[np.bool_]:
    """Tell (M,) which markers lie too far from where the solution puts them, and note their distance."""
    level = spread(solution.residuals, seen.sd.reshape(-1))
    distance = np.linalg.norm(solution.residuals, axis=1).reshape(-1, 4)
    wrong = np.any(distance > np.maximum(REJECT_PX, REJECT_SD * level * seen.sd), axis=1)
    for n in np.flatnonzero(wrong):
        rejected[seen.photo[n]][int(seen.marker[n])] = float(np.max(distance[n]))
    return np.asarray(wrong)


def _limit_rejected(
    problem: _Problem, seen: Sightings, wrong: NDArray[np.bool_], rejected: Sequence[dict[int, float]]
) -> None:
    for p, photo in enumerate(problem.photos):
        total = np.sum((seen.photo == p) & ~wrong) + len(rejected[p])
        if len(rejected[p]) > MAX_REJECTED_SHARE * total:
            raise PoseError(
                f"The markers {_listed(rejected[p])} contradict the others: {len(rejected[p])} of {total} do not fit.",
                where=photo.name,
                do="Check that every sheet lies flat and whole and that field.json belongs to these prints.",
            )


def _still_groups(bodies: Mapping[Key, int], solution: Solution) -> list[list[Key]]:
    """Group (photograph, board) pairs between which the board stood still."""
    groups: list[list[Key]] = []
    for key in sorted(bodies, key=lambda k: (k[1], k[0])):
        for group in groups:
            if group[0][1] == key[1] and all(_still(bodies[key], bodies[k], solution) for k in group):
                group.append(key)
                break
        else:
            groups.append([key])
    return groups


def _still(a: int, b: int, solution: Solution) -> bool:
    """Test whether two bodies, one board in two photographs, have the same pose.

    Moved means both: a difference that the joint covariance cannot explain, and one that matters.
    """
    state = solution.state
    turn = vector_from_rotation(state.bodies[b].rotation @ state.bodies[a].rotation.T)
    shift = state.bodies[b].translation - state.bodies[a].translation
    if np.linalg.norm(turn) < STILL_RAD and np.linalg.norm(shift) < STILL_MM:
        return True
    first, second = state.body_slice(a), state.body_slice(b)
    c = solution.covariance
    doubt = c[first, first] + c[second, second] - c[first, second] - c[second, first]
    difference = np.concatenate([turn, shift])
    distance2 = float(difference @ np.linalg.solve(doubt, difference))
    return distance2 < float(chi2_distribution.ppf(STILL_QUANTILE, POSE))


def _surest(group: Sequence[Key], bodies: Mapping[Key, int], solution: Solution) -> Pose:
    """Return the pose of the group's member with the smallest variance of place."""

    def variance(key: Key) -> float:
        where = solution.state.body_slice(bodies[key])
        return float(np.trace(solution.covariance[where, where][3:, 3:]))

    return solution.state.bodies[bodies[min(group, key=variance)]]


def _require_agreement(problem: _Problem, seen: Sightings, solution: Solution) -> None:
    distance = np.linalg.norm(solution.residuals, axis=1).reshape(-1, 4)
    for p, photo in enumerate(problem.photos):
        own = seen.photo == p
        rms = float(np.sqrt(np.mean(distance[own] ** 2)))
        if rms > MAX_RMS_PX:
            worst = seen.marker[own][np.argsort(-np.max(distance[own], axis=1))[:5]]
            raise PoseError(
                f"The markers do not agree: {rms:.1f} px rms, at most {MAX_RMS_PX:.0f} px is usable; "
                f"the worst are {_listed(worst)}.",
                where=photo.name,
                do="Smooth the sheets flat, check that they belong to field.json, and take it again without shake.",
            )


def _calibration(
    problem: _Problem,
    seen: Sightings,
    rejected: tuple[dict[int, float], ...],
    groups: Sequence[Sequence[Key]],
    solution: Solution,
) -> Calibration:
    boards = problem.field.boards
    placed: list[dict[str, Pose]] = [{problem.field.mat.name: Pose.identity()} for _ in problem.photos]
    still: dict[str, tuple[tuple[int, ...], ...]] = {}
    for group, pose in zip(groups, solution.state.bodies, strict=True):
        name = boards[group[0][1]].name
        still[name] = (*still.get(name, ()), tuple(p for p, _ in group))
        for p, _ in group:
            placed[p][name] = pose
    square = np.sum(solution.residuals**2, axis=1).reshape(-1, 4)
    everyone = range(len(problem.photos))
    return Calibration(
        cameras=_cameras(problem, solution.state),
        boards=tuple(placed),
        still=still,
        rms_px=tuple(float(np.sqrt(np.mean(square[seen.photo == p]))) for p in everyone),
        used=tuple(tuple(sorted(int(i) for i in seen.marker[seen.photo == p])) for p in everyone),
        rejected=rejected,
        lens_of=tuple(int(n) for n in problem.lens_of),
        covariance=solution.covariance,
        camera_modes=_camera_modes(problem, solution),
    )


def _cameras(problem: _Problem, state: State) -> tuple[Camera, ...]:
    lenses = [lens_from_vector(vector) for vector in state.lenses]
    return tuple(
        Camera(lenses[n], pose, photo.size)
        for n, pose, photo in zip(state.lens_of, state.views, problem.photos, strict=True)
    )


def _camera_modes(problem: _Problem, solution: Solution) -> tuple[tuple[Camera, ...], ...]:
    """Split the cameras' covariance into independent directions, ranked by what they do in the pictures.

    With the covariance ``S = F F^T`` and the derivative A of reference points' pixels, the singular vectors V of
    ``A F`` give modes ``F v_j``: they add up to S and move the pixels in mutually perpendicular ways.
    """
    state = solution.state
    count = LENS * len(state.lenses) + POSE * len(state.views)
    values, vectors = _scaled_eigen(solution.covariance[:count, :count])
    factor = vectors * np.sqrt(np.maximum(values, 0.0))
    effect = jacobian(replace(state, bodies=()), _reference_points(problem, state)) @ factor
    _, strength, turned = np.linalg.svd(effect, full_matrices=False)
    strong = np.flatnonzero(strength > _NEGLIGIBLE_MODE * strength[0])[:_MAX_MODES]
    steps = [np.concatenate([factor @ turned[j], np.zeros(POSE * len(state.bodies))]) for j in strong]
    return tuple(_cameras(problem, state.moved(step)) for step in steps)


def _scaled_eigen(covariance: Array) -> tuple[Array, Array]:
    """Return eigenvalues and vectors of the correlation matrix, vectors scaled back to the unknowns' units."""
    spread = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(spread, spread))
    return values, vectors * spread[:, None]


def _reference_points(problem: _Problem, state: State) -> Points:
    """Return points in the space over the mat where a limb may stand, in all views."""
    half = 0.25 * problem.field.mat.size
    x, y, z = np.meshgrid([-half[0], half[0]], [-half[1], half[1]], _REFERENCE_HEIGHTS_MM)
    xyz = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    views, n = len(state.views), len(xyz)
    return Points(
        np.tile(xyz, (views, 1)),
        np.zeros((views * n, 2)),
        np.ones(views * n),
        np.repeat(np.arange(views), n),
        np.full(views * n, -1),
        np.zeros(views * n, np.intp),
    )


def _listed(ids: Iterable[int]) -> str:
    shown = sorted({int(i) for i in ids})
    more = f" and {len(shown) - 8} more" if len(shown) > 8 else ""
    return ", ".join(str(i) for i in shown[:8]) + more
