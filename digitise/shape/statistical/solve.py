"""The shape that tangent planes tell, by Gauss-Newton with the usual shape as prior."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from digitise.errors import ShapeError
from digitise.geometry.rigid import Array
from digitise.geometry.values import read_only
from digitise.shape.statistical.planes import TangentPlanes, Touch, planes_where, touch
from digitise.shape.statistical.surface import PLACES, PlacedShape

# It stands anywhere on the mat's middle, toes or fingers along its arrow.
_PLACE_SD = np.array([30.0, 30.0, np.radians(12.0)])
# All of one photograph's outline may lie too far out alike: soft shadows, and blur as wide as its pixels (a
# foot of half-size pictures read 3 % too large).
_VIEW_SD_MM, _VIEW_SD_PX = 0.4, 0.8
_ROUNDS = 40
_CONVERGED_MM = 0.1  # rms of all vertices: a tenth of what one photograph's point tells
# Where the surface touches a plane may jump from round to round; ever shorter steps settle between the two.
_FULL_STEPS = 4
_STEP = 0.05  # of a parameter's prior sd, for slopes of girths
# Beyond so many sds a plane is no longer drawn at with full force (Huber's and Cauchy's constants for an
# efficiency of 95 %).
_HUBER, _CAUCHY = 1.345, 2.385


@dataclass(frozen=True, eq=False)
class ShapeBelief:
    """A shape and how sure it is.

    Attributes
    ----------
    surface
        The most likely one.
    covariance
        (K + 3, K + 3) of its parameters.
    residual
        (N,) by how much each plane lies outside of it, mm; NaN for planes that it does not reach.
    """

    surface: PlacedShape
    covariance: Array
    residual: Array

    def __post_init__(self) -> None:
        """Keep the arrays as they are."""
        read_only(self)


Reach = Callable[[PlacedShape, TangentPlanes], Touch]


@dataclass(frozen=True)
class KnownGirth:
    """A girth that was taped round the body, or that the limb has which it belongs to.

    Attributes
    ----------
    measure
        Gives that girth of a shape, mm; wherever it stands.
    mm, sd
        As it is known, and its standard deviation.
    """

    measure: Callable[[PlacedShape], float]
    mm: float
    sd: float


def farthest(surface: PlacedShape, planes: TangentPlanes) -> Touch:
    """Return where a surface whose outline bulges everywhere touches planes."""
    return touch(surface.vertices, surface.prior.edges, planes)


def solve_shape(
    start: PlacedShape,
    planes: TangentPlanes,
    near: bool = False,
    *,
    reach: Reach = farthest,
    girths: Sequence[KnownGirth] = (),
) -> ShapeBelief:
    """Bend the usual shape until it touches the planes.

    Parameters
    ----------
    start
        Where to begin; its place is expected within 30 mm and 12 degrees of the start's.
    planes
        From the photographs and the leg.
    near
        The start is near to it: planes far off are of something else, such as the other foot behind,
        and hardly count.
    reach
        Where a surface touches planes.
    girths
        Known of it; they count beside the planes.

    Raises
    ------
    ShapeError
        When the solution does not settle.
    """
    surface, home = start, start.parameters.copy()
    home[:-3] = 0.0
    biases = np.zeros(1 + int(planes.view.max(initial=-1)))
    precision = _prior_precision(len(home), _alike(planes, len(biases)))
    for number in range(_ROUNDS):
        residual, rows = _linearise(surface, planes, biases, reach)
        weight = _weights(residual, planes.sd, near)
        girth_rows, told = _known(surface, girths, len(biases))
        matrix = rows.T @ (weight[:, None] * rows) + girth_rows.T @ girth_rows + precision
        away = np.concatenate([surface.parameters - home, biases])
        push = rows.T @ (weight * np.nan_to_num(residual)) + girth_rows.T @ told - precision @ away
        step = np.linalg.solve(matrix, push)
        step *= min(1.0, 2.0 / (number - _FULL_STEPS + 2)) if number > _FULL_STEPS else 1.0
        before = surface
        surface, biases = surface.moved(step[: len(home)]), biases + step[len(home) :]
        if np.sqrt(3.0 * np.mean((surface.vertices - before.vertices) ** 2)) < _CONVERGED_MM:
            covariance = np.asarray(np.linalg.inv(matrix), float)[: len(home), : len(home)]
            return ShapeBelief(surface, covariance, residual)
    raise ShapeError(
        "Its shape does not settle.",
        do="Take the photograph from above again, with the whole foot or hand and the mat in it.",
    )


def without_strays(
    belief: ShapeBelief, planes: TangentPlanes, view: int, stray_mm: float, most: float
) -> tuple[ShapeBelief, TangentPlanes]:
    """Solve a shape once more without those of a photograph's planes that are of something beside it.

    Parameters
    ----------
    belief, planes
        The shape that all planes tell.
    view
        Of which photograph.
    stray_mm
        Planes that it misses by more are left out,
    most
        unless they are more than this share of the photograph's: then it is not clear which are right.

    Returns
    -------
    The shape and its planes; as given where there are none or too many strays.
    """
    own = planes.view == view
    strays = own & (np.abs(np.nan_to_num(belief.residual)) > stray_mm)
    if not strays.any() or strays.sum() > most * own.sum():
        return belief, planes
    kept = planes_where(planes, ~strays)
    return solve_shape(belief.surface, kept, near=True), kept


def unlikeliness(surface: PlacedShape, planes: TangentPlanes, reach: Reach = farthest) -> float:
    """Return minus the logarithm of how likely a shape is by itself and by its planes, but for a constant."""
    residual, _ = _linearise(surface, planes, np.zeros(1 + int(planes.view.max(initial=-1))), reach)
    scaled = residual[np.isfinite(residual)] / planes.sd[np.isfinite(residual)]
    off = 0.5 * _CAUCHY**2 * np.sum(np.log1p((scaled / _CAUCHY) ** 2))
    return float(off + 0.5 * np.sum(surface.parameters[:-PLACES] ** 2))


def _alike(planes: TangentPlanes, views: int) -> Array:
    """Return by how much the outline of each photograph (views,) may be off alike, mm."""
    pixel = np.zeros(views)
    known = planes.view >= 0
    np.maximum.at(pixel, planes.view[known], planes.pixel_mm[known])
    return np.maximum(_VIEW_SD_MM, _VIEW_SD_PX * pixel)


def _prior_precision(parameters: int, alike: Array) -> Array:
    sd = np.concatenate([np.ones(parameters - 3), _PLACE_SD, alike])
    return np.diag(1.0 / sd**2)


def _linearise(
    surface: PlacedShape, planes: TangentPlanes, biases: Array, reach: Reach
) -> tuple[Array, Array]:
    """Return the residuals (N,) and how the model's distances grow with parameters and biases (N, P)."""
    found = reach(surface, planes)
    seen_by = planes.view[:, None] == np.arange(len(biases))
    residual = planes.distance - found.reached - seen_by @ biases
    residual[~np.isfinite(found.reached)] = np.nan
    first, second = (surface.motions(found.ends[:, end]) for end in (0, 1))
    moves = np.sum((first + found.share[:, None] * (second - first)) * planes.normal, axis=2).T
    return residual, np.column_stack([moves, seen_by.astype(float)])


def slopes(surface: PlacedShape, measure: Callable[[PlacedShape], float]) -> Array:
    """Return d measure / d parameter (K + 3,) of a measure that does not depend on where the shape stands."""
    mean, slope = measure(surface), np.zeros(len(surface.parameters))
    for number in range(len(slope) - PLACES):
        step = np.zeros(len(slope))
        step[number] = _STEP
        slope[number] = (measure(surface.moved(step)) - mean) / _STEP
    return slope


def _known(surface: PlacedShape, girths: Sequence[KnownGirth], views: int) -> tuple[Array, Array]:
    """Return how the girths grow with parameters and biases (G, P), and what they lack (G,), in their sds."""
    rows = [np.append(slopes(surface, each.measure), np.zeros(views)) / each.sd for each in girths]
    lacks = [(each.mm - each.measure(surface)) / each.sd for each in girths]
    return np.reshape(rows, (len(girths), len(surface.parameters) + views)), np.array(lacks)


def _weights(residual: Array, sd: Array, near: bool) -> Array:
    """Return each plane's weight (N,), 1 / mm^2, Huber's or Cauchy's; none where it is not reached."""
    scaled = np.abs(np.nan_to_num(residual)) / sd
    share = 1.0 / (1.0 + (scaled / _CAUCHY) ** 2) if near else _HUBER / np.maximum(scaled, _HUBER)
    return np.where(np.isfinite(residual), share / sd**2, 0.0)
