"""Edges and girths become a limb."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose
from digitise.geometry.view import View
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.contradictions import cone_warnings, require_known, require_limb
from digitise.shape.levels import Levels, find_levels
from digitise.shape.limb import Limb
from digitise.shape.rounds import DRIFT_MM, is_solid, settle
from digitise.shape.scene import Scene, make_scene, touch_centre
from digitise.shape.solve import EdgeData, Posterior, edge_information, solve, swaying
from digitise.shape.taped import TapeCheck, cross_check
from digitise.shape.warn import EdgeResidual, FitWarning, fit_warnings
from digitise.tape.rows import TapeRow

# Evidence this far beyond the reported segment steadies its ends.
MARGIN_MM = 20.0


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
    scene = make_scene(views, axis, camera_modes)
    start = tuple(tuple(touch_centre(planes, scene.centre) for planes in view) for view in scene.nominal)
    levels = find_levels(
        start,
        views,
        is_leg=limb == "leg",
        taped=tuple(row.height_mm for row in tape),
        from_mm=from_mm,
        to_mm=to_mm,
    )
    beyond = MARGIN_MM + DRIFT_MM
    basis = Basis.uniform(
        levels.from_mm - beyond, levels.to_mm + beyond, priors.KNOT_SPACING_MM, priors.HARMONICS
    )
    stands = np.array_equal(axis.rotation, np.eye(3)) and axis.translation[2] == 0.0
    usual = priors.of_limb(limb, side, standing=stands)
    belief = settle(scene, basis, start, usual if prior is None else prior)
    solid = prior is None and is_solid(basis, belief, usual)
    if solid:
        belief = settle(scene, basis, start, priors.SOLID)
    alone = swaying(basis, belief.prior, belief.edges, belief.posterior)
    cross = cross_check(tape, basis, alone)
    final = solve(basis, belief.prior, edge_information(basis, belief.edges), cross.girths)
    final = swaying(basis, belief.prior, belief.edges, final, cross.girths)

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
    found, names = as_limb(final), ", ".join(scene.names)
    if prior is None and not solid:
        require_limb(found, names)
    require_known(found, names)
    warnings = (
        *cone_warnings(found, cross.checks, names),
        *fit_warnings(levels, cross, belief.edges, residuals, solid=solid),
    )
    return LimbFit(found, as_limb(alone), levels, cross.checks, residuals, warnings)


def _residual(scene: Scene, basis: Basis, data: EdgeData, posterior: Posterior) -> EdgeResidual:
    samples = data.samples
    left = samples.h - basis.design(samples.theta, samples.z) @ posterior.mean - data.modes @ posterior.modes
    pixels = (left / samples.mm_per_px)[samples.sure]
    rms = float(np.sqrt(np.mean(pixels**2))) if len(pixels) else float("nan")
    return EdgeResidual(scene.names[data.view], data.edge, rms, float(np.mean(data.weight < 0.5)))
