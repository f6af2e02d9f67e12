"""The joint solve laid out: which lens, view and body every marker belongs to, and where to begin."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from digitise.capture.calibration.bundle_adjustment import IntArray, Points, State
from digitise.capture.calibration.initial_pose import board_pose
from digitise.capture.calibration.lens import (
    LensPrior,
    LensProfile,
    generic_prior,
    lens_from_vector,
    profile_prior,
)
from digitise.capture.calibration.markers import listed
from digitise.capture.calibration.observations import MarkedPhoto, Sightings
from digitise.capture.sheets.field import MarkerField
from digitise.errors import PoseError
from digitise.geometry.rigid import Pose

Key = tuple[int, int]  # photograph, board


@dataclass(frozen=True)
class Problem:
    """What stays fixed during a calibration.

    Attributes
    ----------
    photos, field
        As given.
    priors
        One per lens.
    lens_of
        (P,) the lens of every photograph.
    mat
        Index of the board that is the world.
    """

    photos: tuple[MarkedPhoto, ...]
    field: MarkerField
    priors: tuple[LensPrior, ...]
    lens_of: IntArray
    mat: int

    @property
    def mats(self) -> frozenset[int]:
        """All boards with the role mat; pages of one mat are stuck down and do not move apart."""
        return frozenset(n for n, board in enumerate(self.field.boards) if board.role == "mat")


def make_problem(photos: Sequence[MarkedPhoto], field: MarkerField, profile: LensProfile | None) -> Problem:
    """Give every photograph its lens and every lens its prior."""
    lens_of = lens_groups(photos)
    first = [photos[lens_of.index(n)] for n in range(max(lens_of) + 1)]
    if profile is None:
        priors = [generic_prior(photo.size, photo.focal_35mm) for photo in first]
    else:
        priors = [profile_prior(profile, photo.size, photo.lens_key) for photo in first]
    mat = field.boards.index(field.mat)
    return Problem(tuple(photos), field, tuple(priors), np.array(lens_of, np.intp), mat)


def lens_groups(photos: Sequence[MarkedPhoto]) -> list[int]:
    """Give photographs of one phone, focal setting and picture size the same number, from 0."""
    keys = [(p.lens_key, p.size, p.focal_35mm if p.lens_key is None else None) for p in photos]
    order = list(dict.fromkeys(keys))
    return [order.index(key) for key in keys]


def require_mat(problem: Problem, seen: Sightings) -> None:
    """Check that every photograph is tied to the world by markers of the mat.

    Raises
    ------
    PoseError
        Naming the photograph that is not.
    """
    ties = _ties(problem, seen.well_seen())
    for p, photo in enumerate(problem.photos):
        if p in ties:
            continue
        if not np.any((seen.photo == p) & np.isin(seen.board, list(problem.mats))):
            raise PoseError(
                "None of the mat's markers can be read.",
                where=photo.name,
                do="Take it again with the whole mat in the picture, from a little higher or nearer.",
            )
        raise PoseError(
            "The mat is hidden: too few of its markers can be read.",
            where=photo.name,
            do="Keep the other foot and clothing off the mat, and take it again from a little higher.",
        )


def _ties(problem: Problem, seen: Sightings) -> dict[int, int]:
    """Return per photograph the board that ties it to the world; photographs without one are left out.

    That is the mat itself, or another page of it whose place a photograph of the mat itself shows.
    """
    pairs = seen.pairs()
    anchored = {p for p, b in pairs if b == problem.mat}
    placed = {b for p, b in pairs if p in anchored and b in problem.mats}
    ties = {p: b for p, b in reversed(pairs) if b in placed}
    return ties | dict.fromkeys(anchored, problem.mat)


def bodies_apart(problem: Problem, seen: Sightings) -> dict[Key, int]:
    """Give every board in every photograph its own body, save where it ties a photograph to the world."""
    ties = _ties(problem, seen)
    bodies: dict[Key, int] = {}
    pairs = [key for key in seen.pairs() if key[1] != problem.mat]
    anchored = [key for key in pairs if ties[key[0]] == problem.mat]
    for key in anchored:
        bodies[key] = len(bodies)
    count = len(bodies)
    for p, b in (key for key in pairs if key not in bodies):
        shared = next((bodies[key] for key in anchored if key[1] == b), None)
        if b in problem.mats and shared is not None:
            bodies[p, b] = shared
        else:
            bodies[p, b] = count
            count += 1
    return bodies


def points(seen: Sightings, bodies: Mapping[Key, int]) -> Points:
    """Return the corners with the photograph as view; boards without body (the mat) are the world."""
    pairs = seen.pairs()
    return seen.points({key: key[0] for key in pairs}, {key: bodies.get(key, -1) for key in pairs})


def first_state(problem: Problem, seen: Sightings, bodies: Mapping[Key, int]) -> State:
    """Guess all unknowns from one board in one photograph at a time.

    Raises
    ------
    PoseError
        When the markers of a board do not lie on one flat sheet.
    """
    local = {key: first_pose(problem, seen, key) for key in seen.pairs()}
    ties = _ties(problem, seen)
    views = {p: local[p, b] for p, b in ties.items() if b == problem.mat}
    placed = {bodies[key]: views[key[0]].inverse() @ local[key] for key in bodies if key[0] in views}
    for p, b in ties.items():
        if p not in views:
            views[p] = local[p, b] @ placed[bodies[p, b]].inverse()
    for key, body in bodies.items():
        placed.setdefault(body, views[key[0]].inverse() @ local[key])
    lenses = np.stack([prior.mean for prior in problem.priors])
    ordered = tuple(views[p] for p in range(len(problem.photos)))
    return State(lenses, problem.lens_of, ordered, tuple(placed[n] for n in range(len(placed))))


def first_pose(problem: Problem, seen: Sightings, key: Key) -> Pose:
    """Guess camera-from-board for one board in one photograph."""
    lens = lens_from_vector(problem.priors[problem.lens_of[key[0]]].mean)
    own = seen.of(*key)
    pose = board_pose(lens, own.xyz.reshape(-1, 3), own.pixels.reshape(-1, 2))
    if pose is None:
        name = problem.field.boards[key[1]].name
        raise PoseError(
            f"The markers {listed(own.marker)} of {name} do not form one flat sheet.",
            where=problem.photos[key[0]].name,
            do="Check that the sheet lies flat, is whole, and that field.json belongs to it.",
        )
    return pose
