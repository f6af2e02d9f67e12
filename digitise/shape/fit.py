"""Edges and girths become a limb."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from digitise.anatomy import LimbKind, Side
from digitise.errors import ContradictionError, ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose
from digitise.geometry.view import View
from digitise.shape import priors
from digitise.shape.basis import Basis
from digitise.shape.checks.contradictions import (
    cone_warnings,
    require_known,
    require_limb,
    require_scale,
    require_taped,
)
from digitise.shape.checks.overruled import doubtful_edges, overruled
from digitise.shape.checks.warn import EdgeResidual, FitWarning, fit_warnings, kind_warnings
from digitise.shape.levels import Levels, find_levels
from digitise.shape.limb import SHARED_ERRORS, Limb
from digitise.shape.rounds import DRIFT_MM, Belief, Stretch, is_solid, is_unlike, likeliest_sway, settle
from digitise.shape.scene import Scene, make_scene, touch_centre
from digitise.shape.solve import EdgeData, Posterior, in_place, printed, solve
from digitise.shape.tangents import Samples
from digitise.shape.taped import TapeCheck, TapeCross, cross_check
from digitise.tape.rows import TapeRow

# Evidence this far beyond the reported segment steadies its ends.
MARGIN_MM = 20.0
# By how much the sum of the tape rows' squared misfits must differ to tell which photograph is the odd one: a
# log odds of 4.5, 90 to 1.
_CLEARLY_BETTER = 9.0
_UPRIGHT = 0.5  # cosine of an axis to the vertical: below, the limb lies


@dataclass(frozen=True, eq=False)
class LimbFit:
    """A limb and how well it agrees with what was measured.

    Attributes
    ----------
    limb
        The limb from edges and tape.
    photo_only
        The limb from edges alone, as the tape check used it: as if the sheets were surely true to size.
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
    limb: LimbKind = LimbKind.LEG,
    side: Side = Side.LEFT,
    axis_from_world: Pose | None = None,
    from_mm: float | None = None,
    to_mm: float | None = None,
    camera_modes: tuple[tuple[Camera, ...], ...] = (),
    prior: priors.SectionPrior | None = None,
    lying: str = "",
    roughly: bool = False,
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
    lying
        How a limb lies whose axis frame has y upwards, see :class:`~digitise.shape.limb.Limb`.
    roughly
        Only the limb's middle is wanted: its volume may be known badly.

    Returns
    -------
    LimbFit.

    Raises
    ------
    ContradictionError
        When the edges cannot be of one limb; of three photographs or more the one that does not fit is named.
    ShapeError
        When the edges do not determine a limb between the wanted levels, or too badly to be of use.
    """
    if limb not in priors.BY_LIMB:
        raise ShapeError(f"A limb is a leg or an arm, not {limb!r}.", do="Choose leg or arm.")
    axis = Pose.identity() if axis_from_world is None else axis_from_world
    wanted = Wanted(limb, side, axis, from_mm, to_mm, prior, lying, roughly)
    try:
        return _fit(views, tape, wanted, camera_modes)
    except ContradictionError:
        odd = _odd_view(views, tape, wanted, camera_modes)
        if odd is None:
            raise
        raise ContradictionError(
            f"Photograph {odd + 1} does not agree with the others: the limb moved or it is another visit.",
            where=views[odd].name,
            do="Leave that photograph out, or take them all again.",
        ) from None


@dataclass(frozen=True)
class Wanted:
    """What is asked of a fit; see :func:`fit_limb`."""

    limb: LimbKind
    side: Side
    axis: Pose
    from_mm: float | None
    to_mm: float | None
    prior: priors.SectionPrior | None
    lying: str
    roughly: bool


def _odd_view(
    views: tuple[View, ...],
    tape: tuple[TapeRow, ...],
    wanted: Wanted,
    camera_modes: tuple[tuple[Camera, ...], ...],
) -> int | None:
    """Return the view without which the others agree best with each other and the tape, None without one.

    Two views alone hardly contradict each other, so of three the tape decides.
    """
    misfit = np.full(len(views), np.inf)
    for n in range(len(views) if len(views) > 2 else 0):
        rest = tuple(view for k, view in enumerate(views) if k != n)
        modes = tuple(tuple(camera for k, camera in enumerate(mode) if k != n) for mode in camera_modes)
        try:
            fit = _fit(rest, tape, wanted, modes)
        except ShapeError:
            continue
        misfit[n] = sum(check.z**2 for check in fit.tape_checks if check.verdict != "not seen")
    best, second = np.sort(misfit)[:2]
    told = second == np.inf or second > best + _CLEARLY_BETTER
    return int(np.argmin(misfit)) if best < np.inf and told else None


def _fit(
    views: tuple[View, ...],
    tape: tuple[TapeRow, ...],
    wanted: Wanted,
    camera_modes: tuple[tuple[Camera, ...], ...],
) -> LimbFit:
    limb, axis, prior = wanted.limb, wanted.axis, wanted.prior
    stands = np.array_equal(axis.rotation, np.eye(3)) and axis.translation[2] == 0.0
    lies = abs(axis.rotation[2, 2]) < _UPRIGHT
    scene = make_scene(views, axis, camera_modes)
    start = tuple(tuple(touch_centre(planes, scene.centre) for planes in view) for view in scene.nominal)
    levels = find_levels(
        start,
        views,
        is_leg=limb == LimbKind.LEG and not lies,  # the foot of one that lies stands up across its axis
        bridged=lies,
        hand_up=limb == LimbKind.ARM and stands,
        taped=tuple(row.height_mm for row in tape),
        from_mm=wanted.from_mm,
        to_mm=wanted.to_mm,
    )
    beyond = MARGIN_MM + DRIFT_MM
    basis = Basis.uniform(
        levels.from_mm - beyond, levels.to_mm + beyond, priors.KNOT_SPACING_MM, priors.HARMONICS
    )
    known = _Known(
        priors.of_limb(limb, wanted.side, standing=stands, on_back=wanted.lying == "on-back"),
        priors.of_whole_legs(wanted.side) if limb == LimbKind.LEG and stands else None,
        prior,
    )
    solved = _solved(scene, basis, start, tape, known)
    ignored = overruled(solved.cross.checks, solved.belief.edges)
    if solved.cross.is_off:
        ignored += doubtful_edges(solved.belief.edges)
    if ignored:
        # fewer edges are sooner as straight as a pipe's: that was settled with all of them
        again = known._replace(given=solved.sections)
        solved = _solved(scene, basis, start, tape, again, ignored)._replace(solid=solved.solid)
    belief, _, solid, alone, cross = solved
    final = solve(basis, belief.prior, belief.edge_part, cross.girths)
    require_scale(cross, scene.names)
    final = belief.widened(printed(basis, final, cross.scale.unexplained))

    def as_limb(posterior: Posterior) -> Limb:
        movements = len(posterior.modes) - len(SHARED_ERRORS) - scene.doubts
        return Limb(
            limb,
            wanted.side,
            axis,
            levels.from_mm,
            levels.to_mm,
            basis,
            in_place(basis, belief.edges, posterior, max(movements, 0)),
            posterior.covariance,
            belief.prior.mean,
            belief.prior.precision,
            posterior.shared,
            considered=belief.lips if belief.lips.size else None,
            lying=wanted.lying,
            print_scale=posterior.print_scale,
        )

    residuals = tuple(_residual(scene, basis, data, final) for data in belief.edges)
    found, names = as_limb(final), scene.names
    cones: tuple[FitWarning, ...] = ()
    require_taped(cross.checks, names)
    if prior is None and not solid:
        require_limb(found, names)
        cones = cone_warnings(found, cross.checks, names)
    if not wanted.roughly:
        require_known(found, names)
    warnings = (
        *kind_warnings(found),
        *cones,
        *fit_warnings(levels, cross, belief.edges, residuals, solid=solid),
    )
    return LimbFit(found, as_limb(alone), levels, cross.checks, residuals, warnings)


class _Known(NamedTuple):
    """What is known of sections beforehand: of any such limb, of whole legs, and what was given instead."""

    limb: priors.SectionPrior
    legs: priors.SectionPrior | None
    given: priors.SectionPrior | None


class _Solved(NamedTuple):
    """What edges alone say under the prior that fits, whether it is a solid's, and the tape beside it."""

    belief: Belief
    sections: priors.SectionPrior
    solid: bool
    alone: Posterior
    cross: TapeCross


def _solved(
    scene: Scene,
    basis: Basis,
    start: tuple[tuple[Samples, ...], ...],
    tape: tuple[TapeRow, ...],
    known: _Known,
    ignored: tuple[Stretch, ...] = (),
) -> _Solved:
    """Solve from edges alone, under the given prior or the one that fits, and lay the tape beside it."""
    belief, sections = _settled(scene, basis, start, known, ignored)
    sway = likeliest_sway(scene, basis, belief)
    if sway > scene.swayed:
        belief, sections = _settled(replace(scene, swayed=sway), basis, start, known, ignored)
    solid = known.given is None and is_solid(basis, belief, sections)
    if solid:
        # a made thing stands still
        sections = priors.SOLID
        belief = settle(scene.still, basis, start, sections, ignored)
    cross = cross_check(tape, basis, belief.posterior, belief.edges)
    return _Solved(belief, sections, solid, belief.posterior, cross)


def _settled(
    scene: Scene,
    basis: Basis,
    start: tuple[tuple[Samples, ...], ...],
    known: _Known,
    ignored: tuple[Stretch, ...],
) -> tuple[Belief, priors.SectionPrior]:
    """Return what edges alone say and the prior: that of whole legs unless the limb is unlike them."""
    if known.given is None and known.legs is not None:
        belief = settle(scene, basis, start, known.legs, ignored)
        if not is_unlike(basis, belief, known.legs, known.limb):
            return belief, known.legs
    sections = known.limb if known.given is None else known.given
    return settle(scene, basis, start, sections, ignored), sections


def _residual(scene: Scene, basis: Basis, data: EdgeData, posterior: Posterior) -> EdgeResidual:
    samples = data.samples
    left = samples.h - basis.support(posterior.mean, samples.theta, samples.z) - data.modes @ posterior.modes
    pixels = (left / samples.mm_per_px)[samples.sure]
    rms = float(np.sqrt(np.mean(pixels**2))) if len(pixels) else float("nan")
    return EdgeResidual(scene.names[data.view], data.edge, rms)
