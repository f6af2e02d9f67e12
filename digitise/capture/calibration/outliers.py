"""Markers that contradict the others: leave a few out, refuse when they are many."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from digitise.capture.calibration.bundle_adjustment import Solution, solve, spread
from digitise.capture.calibration.level import level_pages
from digitise.capture.calibration.markers import listed
from digitise.capture.calibration.observations import MarkedPhoto, Sightings
from digitise.capture.calibration.setup import Key, Problem, bodies_apart, points, require_mat
from digitise.errors import PoseError
from digitise.geometry.rigid import Array

REJECT_PX = 5.0
REJECT_SD = 6.0
MAX_RMS_PX = 3.0
MAX_REJECTED_SHARE = 1 / 3

Rejected = tuple[dict[int, float], ...]  # per photograph, marker id to its distance in px


def without_wrong(
    problem: Problem, seen: Sightings, bodies: Mapping[Key, int], solution: Solution
) -> tuple[Sightings, dict[Key, int], Solution, Rejected]:
    """Leave out markers that the others contradict, solve again, and repeat until none is left.

    Parameters
    ----------
    solution
        A robust solution with all markers.

    Returns
    -------
    The kept sightings, their bodies, the solution without the wrong markers, and those left out.

    Raises
    ------
    PoseError
        When more than ``MAX_REJECTED_SHARE`` of a photograph's markers contradict the others.
    """
    rejected: Rejected = tuple({} for _ in problem.photos)
    bodies = dict(bodies)
    wrong = note_wrong(seen, solution, rejected)
    while wrong.any():
        limit_rejected(problem.photos, seen, wrong, rejected)
        kept = seen.subset(~wrong)
        require_mat(problem, kept)
        seen = kept.well_seen()
        left = bodies_apart(problem, seen)
        place = {left[key]: solution.state.bodies[bodies[key]] for key in reversed(left)}
        state = replace(solution.state, bodies=tuple(place[n] for n in range(len(place))))
        bodies = left
        solution = solve(state, points(seen, bodies), problem.priors, level_pages(problem, bodies))
        wrong = note_wrong(seen, solution, rejected)
    return seen, bodies, solution, rejected


def _wrong(seen: Sightings, solution: Solution) -> tuple[NDArray[np.bool_], Array]:
    """Tell (M,) which markers lie too far from where the solution puts them, and how far (px)."""
    level = spread(solution.residuals, seen.sd.reshape(-1))
    distance = np.linalg.norm(solution.residuals, axis=1).reshape(-1, 4)
    wrong = np.any(distance > np.maximum(REJECT_PX, REJECT_SD * level * seen.sd), axis=1)
    return wrong, np.max(distance, axis=1)


def note_wrong(seen: Sightings, solution: Solution, rejected: Rejected) -> NDArray[np.bool_]:
    """Tell (M,) which markers are wrong and enter them, with their distance, into ``rejected``."""
    wrong, distance = _wrong(seen, solution)
    for n in np.flatnonzero(wrong):
        rejected[seen.photo[n]][int(seen.marker[n])] = float(distance[n])
    return wrong


def limit_rejected(
    photos: Sequence[MarkedPhoto], seen: Sightings, wrong: NDArray[np.bool_], rejected: Rejected
) -> None:
    """Refuse a photograph in which too many markers are wrong.

    Raises
    ------
    PoseError
        Naming the photograph and the markers.
    """
    for p, photo in enumerate(photos):
        out = rejected[p]
        total = int(np.sum((seen.photo == p) & ~wrong)) + len(out)
        if len(out) > MAX_REJECTED_SHARE * total:
            raise PoseError(
                f"The markers {listed(out)} contradict the others: {len(out)} of {total} do not fit.",
                where=photo.name,
                do="Check that every sheet lies flat and whole and that field.json belongs to these prints.",
            )


def rms_px(seen: Sightings, solution: Solution, photo: int) -> float:
    """Return the rms distance (px) of a photograph's corners from where the solution puts them."""
    square = np.sum(solution.residuals**2, axis=1).reshape(-1, 4)
    return float(np.sqrt(np.mean(square[seen.photo == photo])))


def require_agreement(photos: Sequence[MarkedPhoto], seen: Sightings, solution: Solution) -> None:
    """Refuse photographs whose markers, wrong ones left out, still do not agree.

    Raises
    ------
    PoseError
        Naming the photograph and its worst markers.
    """
    distance = np.max(np.linalg.norm(solution.residuals, axis=1).reshape(-1, 4), axis=1)
    for p, photo in enumerate(photos):
        rms = rms_px(seen, solution, p)
        if rms > MAX_RMS_PX:
            own = seen.photo == p
            worst = seen.marker[own][np.argsort(-distance[own])[:5]]
            raise PoseError(
                f"The markers do not agree: {rms:.1f} px rms, at most {MAX_RMS_PX:.0f} px can be used; "
                f"the worst are {listed(worst)}.",
                where=photo.name,
                do="Smooth the sheets flat, check that they belong to field.json, and hold the phone still.",
            )
