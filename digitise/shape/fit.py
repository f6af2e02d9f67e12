"""Edges and girths become a limb."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import View
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.levels import Levels, find_levels
from digitise.shape.limb import SHARED_ERRORS, Limb
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
from digitise.shape.taped import TapeCheck, cross_check
from digitise.shape.warn import EdgeResidual, FitWarning, fit_warnings
from digitise.tape.rows import TapeRow

# Evidence this far beyond the reported stretch steadies its ends.
MARGIN_MM = 20.0
# Rounds of: where do the planes touch, how far is each point to be trusted, solve.  The depth of the touching
# point gains about two digits a round.
_ROUNDS = 5
_LEAST_RADIUS_MM = 10.0
# Outlines must be this much likelier (log odds) under the prior of a made solid: of a thousand things
# photographed as limbs, one is taken to be a pipe or a bucket.
_SOLID_LOG_ODDS = 7.0
# A shorter piece of a thigh may be as straight as a pipe.
_SOLID_LEAST_MM = 300.0


@dataclass(frozen=True)
class LimbFit:
    """A limb and how well it agrees with what was measured.

    Attributes
    ----------
    limb
        The limb from edges and tape.
    photo_only
        The limb from edges alone, as the tape check used it.
    levels
        Where the limb was seen.
    tape_checks
        One per tape row.
    residual_px
        One per edge.
    warnings
        In order of importance.
    """

    limb: Limb
    photo_only: Limb
    levels: Levels
    tape_checks: tuple[TapeCheck, ...]
    residual_px: tuple[EdgeResidual, ...]
    warnings: tuple[FitWarning, ...]


@dataclass(frozen=True)
class _Scene:
    """All that stays the same from round to round; ``moved`` has one set of planes per camera mode."""

    names: tuple[str, ...]
    nominal: tuple[tuple[Planes, ...], ...]
    moved: tuple[tuple[tuple[Planes, ...], ...], ...]
    centre: Array


@dataclass(frozen=True)
class _Belief:
    """The current estimate within the rounds."""

    prior: Prior
    posterior: Posterior
    edges: tuple[EdgeData, ...]


def fit_limb(
    views: tuple[View, ...],
    tape: tuple[TapeRow, ...] = (),
    *,
    limb: str = "leg",
    side: str = "left",
    axis_from_world: Pose | None = None,
    from_mm: float | None = None,
    to_mm: float | None = None,
    camera_modes: tuple[tuple[Camera, ...], ...] = (),
    prior: priors.SectionPrior | None = None,
) -> LimbFit:
    """Find the limb that explains all edges and girths, with its uncertainty.

    Parameters
    ----------
    views
        Two or more photographs' edges and cameras.
    tape
        Girths at heights along the axis.
    limb, side
        ``leg`` or ``arm``; ``left`` or ``right``.
    axis_from_world
        Frame of the limb's axis; without it the limb stands on the mat.
    from_mm, to_mm
        Levels to report between; without them the evidence decides (for a leg, above the foot).
    camera_modes
        Uncertainty of the cameras: each item holds all cameras, in the order of ``views``, moved by one sd
        along one independent direction of the calibration's uncertainty.
    prior
        What is known of the sections beforehand; without it the outlines decide between a limb of this kind
        and a straight-sided solid, whose sections are ellipses.

    Returns
    -------
    LimbFit.

    Raises
    ------
    ShapeError
        When the edges do not determine a limb between the wanted levels.
    """
    if limb not in priors.BY_LIMB:
        raise ShapeError(f"A limb is a leg or an arm, not {limb!r}.", do="Choose leg or arm.")
    axis = Pose.identity() if axis_from_world is None else axis_from_world
    scene = _scene(views, axis, camera_modes)
    start = tuple(tuple(_touch_centre(planes, scene.centre) for planes in view) for view in scene.nominal)
    levels = find_levels(
        start,
        views,
        is_leg=limb == "leg",
        lowest_tape=min((row.height_mm for row in tape), default=None),
        from_mm=from_mm,
        to_mm=to_mm,
    )
    basis = Basis.uniform(
        levels.from_mm - MARGIN_MM, levels.to_mm + MARGIN_MM, priors.KNOT_SPACING_MM, priors.HARMONICS
    )
    stands = not np.any(axis.translation) and np.array_equal(axis.rotation, np.eye(3))
    usual = priors.of_limb(limb, side, standing=stands)
    belief = _rounds(scene, basis, start, usual if prior is None else prior)
    solid = prior is None and _is_solid(basis, belief, usual)
    if solid:
        belief = _rounds(scene, basis, start, priors.SOLID)
    cross = cross_check(tape, basis, belief.posterior)
    final = solve(basis, belief.prior, edge_information(basis, belief.edges), cross.girths)

    def as_limb(posterior: Posterior) -> Limb:
        return Limb(
            limb,
            side,
            axis,
            levels.from_mm,
            levels.to_mm,
            basis,
            posterior.mean,
            posterior.covariance,
            belief.prior.mean,
            belief.prior.precision,
            posterior.shared,
        )

    residuals = tuple(_residual(scene, basis, data, final) for data in belief.edges)
    warnings = fit_warnings(levels, cross, belief.edges, residuals, solid=solid)
    return LimbFit(as_limb(final), as_limb(belief.posterior), levels, cross.checks, residuals, warnings)


def _scene(views: tuple[View, ...], axis: Pose, modes: tuple[tuple[Camera, ...], ...]) -> _Scene:
    edges = usable_edges(views, axis)
    nominal = view_planes(tuple(view.camera for view in views), edges, axis)
    moved = tuple(view_planes(cameras, edges, axis) for cameras in modes)
    names = tuple(view.name for view in views)
    return _Scene(names, nominal, moved, common_centre(nominal, names))


def _touch_centre(planes: Planes, centre: Array) -> Samples:
    """Touch a limb of no thickness at ``centre`` (2,): the first guess of each rim point's depth."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, centre[1] * np.cos(theta) - centre[0] * np.sin(theta))


def _touch_limb(planes: Planes, basis: Basis, mean: Array, z: Array) -> Samples:
    """Touch the current limb, whose rim points were last seen at heights ``z`` (N,)."""
    theta = np.arctan2(planes.normal[:, 1], planes.normal[:, 0])
    return touch(planes, basis.design(theta, z, turned=1) @ mean)


def _rounds(
    scene: _Scene, basis: Basis, start: tuple[tuple[Samples, ...], ...], sections: priors.SectionPrior
) -> _Belief:
    """Iterate touching points, robust weights and solve; return the belief from edges alone."""
    level = float(np.median(np.concatenate([edge.h for view in start for edge in view])))
    radius = np.full(basis.n_splines, max(level, _LEAST_RADIUS_MM))
    prior = Prior(np.zeros(basis.size), priors.precision(sections, basis, radius))
    edges = _edge_data(scene, basis, start, None)
    belief = _Belief(prior, solve(basis, prior, edge_information(basis, edges)), edges)
    touched = start
    for _ in range(_ROUNDS - 1):
        mean = belief.posterior.mean
        touched = _touch_all(scene, basis, mean, touched)
        edges = _edge_data(scene, basis, touched, belief)
        prior = _prior(basis, mean, sections)
        belief = _Belief(prior, solve(basis, prior, edge_information(basis, edges)), edges)
    return belief


def _radius(basis: Basis, mean: Array) -> Array:
    """Return the mean radius (n_splines,) at ``basis.places``, mm."""
    return np.maximum(basis.splines(basis.places) @ mean[: basis.n_splines], _LEAST_RADIUS_MM)


def _prior(basis: Basis, mean: Array, sections: priors.SectionPrior) -> Prior:
    return Prior(priors.mean(sections, basis, mean), priors.precision(sections, basis, _radius(basis, mean)))


def _is_solid(basis: Basis, belief: _Belief, limb: priors.SectionPrior) -> bool:
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
    scene: _Scene, basis: Basis, mean: Array, last: tuple[tuple[Samples, ...], ...]
) -> tuple[tuple[Samples, ...], ...]:
    return tuple(
        tuple(_touch_limb(planes, basis, mean, samples.z) for planes, samples in zip(view, seen, strict=True))
        for view, seen in zip(scene.nominal, last, strict=True)
    )


def _edge_data(
    scene: _Scene, basis: Basis, touched: tuple[tuple[Samples, ...], ...], belief: _Belief | None
) -> tuple[EdgeData, ...]:
    """Gather the samples within the basis, with camera modes and the robust weights of the last belief."""
    found = []
    for view, edges in enumerate(touched):
        for edge, samples in enumerate(edges):
            keep = samples.within(basis.low, basis.high)
            cameras = np.zeros((len(samples.z), len(scene.moved)))
            if belief is not None:
                moved = [mode[view][edge] for mode in scene.moved]
                cameras = _mode_columns(moved, samples, basis, belief.posterior.mean)
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


def _mode_columns(moved: list[Planes], samples: Samples, basis: Basis, mean: Array) -> Array:
    """Return by how much the samples stand out too far when each camera mode is true, (N, J) mm.

    Direction, height and distance of a sample all move with its camera, so residuals are compared.
    """
    here = samples.h - basis.design(samples.theta, samples.z) @ mean
    columns = []
    for planes in moved:
        there = _touch_limb(planes, basis, mean, samples.z)
        columns.append(here - (there.h - basis.design(there.theta, there.z) @ mean))
    return np.stack(columns, axis=1) if columns else np.zeros((len(here), 0))


def _residual(scene: _Scene, basis: Basis, data: EdgeData, posterior: Posterior) -> EdgeResidual:
    samples = data.samples
    left = samples.h - basis.design(samples.theta, samples.z) @ posterior.mean - data.modes @ posterior.modes
    pixels = (left / samples.mm_per_px)[samples.sure]
    rms = float(np.sqrt(np.mean(pixels**2))) if len(pixels) else float("nan")
    return EdgeResidual(scene.names[data.view], data.edge, rms, float(np.mean(data.weight < 0.5)))
