"""A lens profile: one lens measured from several photographs of any flat board."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from digitise.capture.calibration.bundle_adjustment import Points, Solution, State, solve
from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.observations import MarkedPhoto, Sightings, gather
from digitise.capture.calibration.outliers import Rejected, limit_rejected, note_wrong, require_agreement
from digitise.capture.calibration.setup import Problem, first_pose, make_problem
from digitise.capture.sheets.field import MarkerField
from digitise.errors import LensError

FEWEST_PHOTOS = 8
MAX_FOCAL_SD = 0.005  # twice as sure as the least that poses need
_SAME_PX = 2.0  # a hand does not hold a phone as still from one photograph to the next
_TILT = "Tilt the phone to all sides between photographs, and fill the picture with the sheet."


def lens_profile(photos: Sequence[MarkedPhoto], field: MarkerField) -> LensProfile:
    """Measure a lens from photographs of any boards of a field; every board may move between them.

    Raises
    ------
    LensError
        When there are fewer than ``FEWEST_PHOTOS`` photographs, they are of different lenses, one shows no
        board, or together they do not determine the focal length.
    PoseError
        When markers do not agree.
    """
    if len(photos) < FEWEST_PHOTOS:
        raise LensError(
            f"A lens profile takes at least {FEWEST_PHOTOS} photographs, not {len(photos)}.", do=_TILT
        )
    _require_different(photos)
    problem = make_problem(photos, field, None)
    _require_one_lens(problem)
    seen = gather(photos, field).well_seen()
    _require_board(problem, seen)
    seen, solution = _solve(problem, seen)
    require_agreement(problem.photos, seen, solution)
    mean, covariance = solution.state.lenses[0], solution.covariance[:5, :5]
    if np.sqrt(covariance[0, 0]) > MAX_FOCAL_SD * mean[0]:
        raise LensError("The photographs are too alike to tell the focal length.", do=_TILT)
    rms = float(np.sqrt(np.mean(np.sum(solution.residuals**2, axis=1))))
    return LensProfile(photos[0].size, photos[0].lens_key, mean, covariance, len(photos), rms)


def _require_different(photos: Sequence[MarkedPhoto]) -> None:
    """Refuse copies: a photograph that counts twice tells nothing twice."""
    for n, photo in enumerate(photos):
        for other in photos[:n]:
            if _alike(photo, other):
                raise LensError(
                    f"This is the same photograph as {other.name}, or one from the same place.",
                    where=photo.name,
                    do=_TILT,
                )


def _alike(photo: MarkedPhoto, other: MarkedPhoto) -> bool:
    seen, again = ({each.id: each.corners for each in one.detections} for one in (photo, other))
    both = seen.keys() & again.keys()
    return len(both) > 0 and all(np.abs(seen[i] - again[i]).max() < _SAME_PX for i in both)


def _require_one_lens(problem: Problem) -> None:
    for n, photo in zip(problem.lens_of, problem.photos, strict=True):
        if n != 0:
            raise LensError(
                f"The photograph is not of the same phone, zoom and size as {problem.photos[0].name}.",
                where=photo.name,
                do="Take all photographs with one phone at one zoom, all upright or all sideways.",
            )


def _require_board(problem: Problem, seen: Sightings) -> None:
    for p, photo in enumerate(problem.photos):
        if not np.any(seen.photo == p):
            raise LensError("No sheet shows two or more markers.", where=photo.name, do=_TILT)


def _solve(problem: Problem, seen: Sightings) -> tuple[Sightings, Solution]:
    """Solve with a pose of its own for every board in every photograph, wrong markers left out."""
    pairs = seen.pairs()
    views = tuple(first_pose(problem, seen, key) for key in pairs)
    lens_of = np.zeros(len(pairs), np.intp)
    state = State(problem.priors[0].mean[None], lens_of, views, ())
    solution = solve(state, _points(seen), problem.priors, robust=True)
    rejected: Rejected = tuple({} for _ in problem.photos)
    wrong = note_wrong(seen, solution, rejected)
    limit_rejected(problem.photos, seen, wrong, rejected)
    kept = seen.subset(~wrong).well_seen()
    _require_board(problem, kept)
    left = kept.pairs()
    views = tuple(solution.state.views[pairs.index(key)] for key in left)
    state = State(solution.state.lenses, lens_of[: len(left)], views, ())
    return kept, solve(state, _points(kept), problem.priors)


def _points(seen: Sightings) -> Points:
    pairs = seen.pairs()
    return seen.points({key: n for n, key in enumerate(pairs)}, dict.fromkeys(pairs, -1))
