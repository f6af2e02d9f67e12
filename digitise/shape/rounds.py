"""The rounds of a fit: where planes touch, how far each point is to be trusted, solve; until it settles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import View
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.limb import SHARED_ERRORS
from digitise.shape.solve import (
    BIAS_SD_PX,
    EdgeData,
    Posterior,
    Prior,
    edge_information,
    log_evidence,
    reweigh,
    solve,
)
from digitise.shape.tangents import Planes, Samples, common_centre, touch, usable_edges, view_planes

# The rounds end when one moves no parameter by more than this part of its own sd, which no figure shows; most
# outlines settle in 4 to 8 rounds.
_SETTLED_SD = 0.05
_MOST_ROUNDS = 40
_LEAST_RADIUS_MM = 10.0
# Outlines must be this much likelier (log odds) under the prior of a made solid: of a thousand things
# photographed as limbs, one is taken to be a pipe or a bucket.
_SOLID_LOG_ODDS = 7.0
# A shorter piece of a thigh may be as straight as a pipe.
_SOLID_LEAST_MM = 300.0


@dataclass(frozen=True)
class Scene:
    """All that stays the same from round to round; ``moved`` has one set of planes per camera mode."""

    names: tuple[str, ...]
    nominal: tuple[tuple[Planes, ...], ...]
    moved: tuple[tuple[tuple[Planes, ...], ...], ...]
    centre: Array


@dataclass(frozen=True)
class Belief:
    """The current estimate within the rounds."""

    prior: Prior
    posterior: Posterior
    edges: tuple[EdgeData, ...]


def make_scene(views: tuple[View, ...], axis: Pose, modes: tuple[tuple[Camera, ...], ...]) -> Scene:
    """Back-project all edges, with the cameras as they are and as each mode moves them.

    Raises
    ------
    ShapeError
        When a view lacks a usable edge, or all look from one side.
    """
    edges = usable_edges(views, axis)
    nominal = view_planes(tuple(view.camera for view in views), edges, axis)
    moved = tuple(
        tuple(
            planes if camera is view.camera else view_planes((camera,), (sides,), axis)[0]
            for camera, view, sides, planes in zip(cameras, views, edges, nominal, strict=True)
        )
        for cameras in modes
    )
    names = tuple(view.name for view in views)
    return Scene(names, nominal, moved, common_centre(nominal, names))


def touch_centre(planes: Planes, centre: Array) -> Samples:
    """Touch a limb of no thickness at ``centre`` (2,): the first guess of each rim point's depth."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, centre[1] * np.cos(theta) - centre[0] * np.sin(theta))


def _touch_limb(planes: Planes, basis: Basis, mean: Array, z: Array) -> Samples:
    """Touch the current limb, whose rim points were last seen at heights ``z`` (N,)."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, basis.design(theta, z, turned=1) @ mean)


def settle(
    scene: Scene, basis: Basis, start: tuple[tuple[Samples, ...], ...], sections: priors.SectionPrior
) -> Belief:
    """Iterate touching points, robust weights and solve; return the belief from edges alone.

    Raises
    ------
    ShapeError
        When the rounds do not settle.
    """
    level = float(np.median(np.concatenate([edge.h for view in start for edge in view])))
    radius = np.full(basis.n_splines, max(level, _LEAST_RADIUS_MM))
    prior = Prior(np.zeros(basis.size), priors.precision(sections, basis, radius))
    edges = _edge_data(scene, basis, start, None)
    belief = Belief(prior, solve(basis, prior, edge_information(basis, edges)), edges)
    touched = start
    for _ in range(_MOST_ROUNDS - 1):
        mean = belief.posterior.mean
        touched = _touch_all(scene, basis, mean, touched)
        edges = _edge_data(scene, basis, touched, belief)
        prior = _prior(basis, mean, sections)
        belief = Belief(prior, solve(basis, prior, edge_information(basis, edges)), edges)
        if _moved_sd(belief.posterior, mean) < _SETTLED_SD:
            return belief
    raise ShapeError(
        "The outlines do not settle on one shape.",
        where=", ".join(scene.names),
        do="Check the outlines, and whether the limb moved between the photographs.",
    )


def _moved_sd(posterior: Posterior, before: Array) -> float:
    """Return the greatest step of a parameter in a round, in its own sd."""
    return float(np.max(np.abs(posterior.mean - before) / np.sqrt(np.diag(posterior.covariance))))


def _radius(basis: Basis, mean: Array) -> Array:
    """Return the mean radius (n_splines,) at ``basis.places``, mm."""
    return np.maximum(basis.splines(basis.places) @ mean[: basis.n_splines], _LEAST_RADIUS_MM)


def _prior(basis: Basis, mean: Array, sections: priors.SectionPrior) -> Prior:
    return Prior(priors.mean(sections, basis, mean), priors.precision(sections, basis, _radius(basis, mean)))


def is_solid(basis: Basis, belief: Belief, limb: priors.SectionPrior) -> bool:
    """Whether the edges tell of a straight-sided solid: a limb's prior would count unseen bulges it lacks."""
    if basis.high - basis.low < _SOLID_LEAST_MM:
        return False
    mean, part = belief.posterior.mean, edge_information(basis, belief.edges)
    radius = _radius(basis, mean)

    def evidence(sections: priors.SectionPrior) -> float:
        weight = priors.log_determinant(sections, basis, radius)
        return log_evidence(basis, _prior(basis, mean, sections), weight, part)

    return evidence(priors.SOLID) - evidence(limb) > _SOLID_LOG_ODDS


def _touch_all(
    scene: Scene, basis: Basis, mean: Array, last: tuple[tuple[Samples, ...], ...]
) -> tuple[tuple[Samples, ...], ...]:
    return tuple(
        tuple(_touch_limb(planes, basis, mean, samples.z) for planes, samples in zip(view, seen, strict=True))
        for view, seen in zip(scene.nominal, last, strict=True)
    )


def _edge_data(
    scene: Scene, basis: Basis, touched: tuple[tuple[Samples, ...], ...], belief: Belief | None
) -> tuple[EdgeData, ...]:
    """Gather the samples within the basis, with camera modes and the robust weights of the last belief."""
    found = []
    for view, edges in enumerate(touched):
        for edge, samples in enumerate(edges):
            keep = samples.within(basis.low, basis.high)
            cameras = np.zeros((len(samples.z), len(scene.moved)))
            if belief is not None:
                moved = [mode[view][edge] for mode in scene.moved]
                nominal, mean = scene.nominal[view][edge], belief.posterior.mean
                cameras = _mode_columns(nominal, moved, samples, basis, mean)
            modes = np.column_stack([_shared_columns(samples), cameras])
            data = EdgeData(view, edge, samples.pick(keep), modes[keep], np.ones(np.count_nonzero(keep)))
            if len(data.weight) < 2:
                continue
            found.append(data if belief is None else reweigh(basis, data, belief.posterior))
    return tuple(found)


def _shared_columns(samples: Samples) -> Array:
    """Return by how much the samples stand out too far for one sd of each of ``SHARED_ERRORS``, (N, E) mm."""
    columns = np.zeros((len(samples.z), len(SHARED_ERRORS)))
    columns[:, SHARED_ERRORS.index("outline")] = BIAS_SD_PX * samples.mm_per_px
    return columns


def _mode_columns(nominal: Planes, moved: list[Planes], samples: Samples, basis: Basis, mean: Array) -> Array:
    """Return by how much the samples stand out too far when each camera mode is true, (N, J) mm.

    Direction, height and distance of a sample all move with its camera, so residuals are compared.
    """
    here = samples.h - basis.design(samples.theta, samples.z) @ mean
    columns = np.zeros((len(here), len(moved)))
    for number, planes in enumerate(moved):
        if planes is not nominal:
            there = _touch_limb(planes, basis, mean, samples.z)
            columns[:, number] = here - (there.h - basis.design(there.theta, there.z) @ mean)
    return columns
