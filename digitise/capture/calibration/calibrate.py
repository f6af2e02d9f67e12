"""Where every photograph was taken: the joint solve of lenses, cameras and boards over all markers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from digitise.capture.calibration.bundle_adjustment import (
    LENS,
    POSE,
    Points,
    Solution,
    State,
    jacobian,
    solve,
)
from digitise.capture.calibration.lens import LensProfile, lens_from_vector
from digitise.capture.calibration.level import level_pages
from digitise.capture.calibration.observations import MarkedPhoto, Sightings, gather
from digitise.capture.calibration.outliers import Rejected, require_agreement, rms_px, without_wrong
from digitise.capture.calibration.setup import (
    Key,
    Problem,
    bodies_apart,
    first_state,
    make_problem,
    points,
    require_mat,
)
from digitise.capture.calibration.stationary import shared_state, still_groups, stuck_groups
from digitise.capture.sheets.field import MarkerField
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose

T = TypeVar("T")

_MAX_MODES = 12
_NEGLIGIBLE_MODE = 0.01  # of the strongest mode's effect in the pictures
# A photograph's corners agree as well when their rms grows by less: where pages were in one place it grew by
# up to a twentieth.
_AS_WELL = 1.2
_REFERENCE_HEIGHTS_MM = (50.0, 250.0, 450.0, 650.0, 850.0)


@dataclass(frozen=True, eq=False)
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
        Of all unknowns: five per lens (``lens.PARAMETERS``), then six per photograph and six per still group
        of a board (in the order of ``still``): a left rotation step (rad) and a translation (mm).
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

    def only(self, kept: Sequence[int]) -> Calibration:
        """Return what was solved for some photographs (indices), numbered anew; ``covariance`` stays."""
        place = {old: new for new, old in enumerate(kept)}
        groups = {
            name: tuple(tuple(place[n] for n in group if n in place) for group in each)
            for name, each in self.still.items()
        }
        return replace(
            self,
            cameras=_pick(self.cameras, kept),
            boards=_pick(self.boards, kept),
            still={name: tuple(group for group in each if group) for name, each in groups.items()},
            rms_px=_pick(self.rms_px, kept),
            used=_pick(self.used, kept),
            rejected=_pick(self.rejected, kept),
            lens_of=_pick(self.lens_of, kept),
            camera_modes=tuple(_pick(mode, kept) for mode in self.camera_modes),
        )


def _pick(values: Sequence[T], kept: Sequence[int]) -> tuple[T, ...]:
    return tuple(values[n] for n in kept)


def calibrate(
    photos: Sequence[MarkedPhoto], field: MarkerField, profile: LensProfile | None = None
) -> Calibration:
    """Solve lenses, cameras and boards jointly from marker corners.

    Photographs of one phone at one setting share a lens.  Every board but the mat may have moved between
    photographs; where it demonstrably has not, its pose is shared.

    Parameters
    ----------
    photos
        At least one.
    field
        The sheets in them.
    profile
        Replaces what is commonly known of a lens.

    Raises
    ------
    PoseError
        When a photograph does not show the mat well enough, or its markers do not agree.
    LensError
        When the profile belongs to another camera.
    """
    problem = make_problem(photos, field, profile)
    seen = gather(photos, field)
    require_mat(problem, seen)
    seen = seen.well_seen()
    bodies = bodies_apart(problem, seen)
    start = first_state(problem, seen, bodies)
    solution = solve(start, points(seen, bodies), problem.priors, level_pages(problem, bodies), robust=True)
    seen, bodies, solution, rejected = without_wrong(problem, seen, bodies, solution)
    groups, solution = _together(problem, seen, bodies, solution)
    require_agreement(problem.photos, seen, solution)
    return _calibration(problem, seen, rejected, groups, solution)


def _together(
    problem: Problem, seen: Sightings, bodies: Mapping[Key, int], apart: Solution
) -> tuple[Sequence[Sequence[Key]], Solution]:
    """Solve again with one pose for each board wherever it stood still.

    Pages of one mat are stuck down. What is hidden of a marker, and a page seen edgeways, move them in a
    picture by more than its corners claim; they count as moved only where that explains the picture better.
    """

    def shared(groups: Sequence[Sequence[Key]]) -> Solution:
        body_of = {key: n for n, group in enumerate(groups) for key in group}
        start = shared_state(groups, bodies, apart)
        return solve(start, points(seen, body_of), problem.priors, level_pages(problem, body_of))

    tested = still_groups(bodies, apart)
    stuck = stuck_groups(tested, problem.mats)
    known = shared(tested)
    if len(stuck) < len(tested):
        one = shared(stuck)
        rms = [[rms_px(seen, each, p) for p in range(len(problem.photos))] for each in (one, known)]
        if np.all(np.array(rms[0]) < _AS_WELL * np.array(rms[1])):
            return stuck, one
    return tested, known


def _calibration(
    problem: Problem,
    seen: Sightings,
    rejected: Rejected,
    groups: Sequence[Sequence[Key]],
    solution: Solution,
) -> Calibration:
    boards = problem.field.boards
    placed = [{problem.field.mat.name: Pose.identity()} for _ in problem.photos]
    still: dict[str, tuple[tuple[int, ...], ...]] = {}
    for group, pose in zip(groups, solution.state.bodies, strict=True):
        name = boards[group[0][1]].name
        still[name] = (*still.get(name, ()), tuple(p for p, _ in group))
        for p, _ in group:
            placed[p][name] = pose
    everyone = range(len(problem.photos))
    return Calibration(
        cameras=_cameras(problem, solution.state),
        boards=tuple(placed),
        still=still,
        rms_px=tuple(rms_px(seen, solution, p) for p in everyone),
        used=tuple(tuple(sorted(int(i) for i in seen.marker[seen.photo == p])) for p in everyone),
        rejected=rejected,
        lens_of=tuple(int(n) for n in problem.lens_of),
        covariance=solution.covariance,
        camera_modes=_camera_modes(problem, solution),
    )


def _cameras(problem: Problem, state: State) -> tuple[Camera, ...]:
    lenses = [lens_from_vector(vector) for vector in state.lenses]
    return tuple(
        Camera(lenses[n], pose, photo.size)
        for n, pose, photo in zip(state.lens_of, state.views, problem.photos, strict=True)
    )


def _camera_modes(problem: Problem, solution: Solution) -> tuple[tuple[Camera, ...], ...]:
    """Split the cameras' covariance into independent directions, ranked by what they do in the pictures.

    With the covariance ``S = F F^T`` and the derivative A of reference points' pixels, the singular vectors
    V of ``A F`` give modes ``F v_j``: they add up to S and move the pixels in mutually perpendicular ways.
    """
    state = solution.state
    count = LENS * len(state.lenses) + POSE * len(state.views)
    factor = _square_root(solution.covariance[:count, :count])
    effect = jacobian(replace(state, bodies=()), _reference_points(problem, state)) @ factor
    _, strength, turned = np.linalg.svd(effect, full_matrices=False)
    strong = np.flatnonzero(strength > _NEGLIGIBLE_MODE * strength[0])[:_MAX_MODES]
    rest = np.zeros(POSE * len(state.bodies))
    return tuple(_cameras(problem, state.moved(np.concatenate([factor @ turned[j], rest]))) for j in strong)


def _square_root(covariance: Array) -> Array:
    """Return F with ``F F^T`` equal to the covariance; scaled first, since units differ widely."""
    scale = np.sqrt(np.diag(covariance))
    values, vectors = np.linalg.eigh(covariance / np.outer(scale, scale))
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)) * scale[:, None])


def _reference_points(problem: Problem, state: State) -> Points:
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
    )
