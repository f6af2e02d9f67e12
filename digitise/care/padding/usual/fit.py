"""What limbs usually are: a range of shapes, fitted to a limb so that what is not of that range stands out.

The range is a mean and modes of variation (principal components) of the support function of standing adult
legs, by height between ankle and knee joint and by direction.  It was fitted to bodies of a parametric
human model (CC0 data), slim to heavy; ``tests/usual_limbs_fit.py`` makes the file and says from which.
They are drawn bodies, not patients: a smooth taper is fitted along with the modes, so that even swelling is
no finding.

The hollow above the ankle, the back of the knee and the calf's own fall towards the knee are in the range:
they are listed only as far as they go beyond it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

import numpy as np

from digitise.anatomy import LimbKind, Side
from digitise.care.surface.chart import Chart
from digitise.care.surface.taper import PLACE_MM2, Taper, robust_taper, smooth_terms
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier, orders
from digitise.shape.limb import Limb

USUAL = "what legs of this build usually are"
# The shank, ankle joint to knee joint, that the file's lengths are for.
UNIT_MM = 470.0
# So many modes, the greatest, are followed where a leg may have bulges: finer ones would follow these.
FOLLOWED = 20
# A mode goes as far as in the drawn bodies: further, and it would follow bulges (ours).
_MODE_SPREAD = 1.0
# What swells evenly changes the slope of a usual leg by so much within 100 mm (ours): a third of what the
# whole form of a leg needs, so that a bulge is not followed.
USUAL_SLOPE_SD = 0.05
# A fit that misses more than this in most places is of no leg.
_POOR_MM = 1.5
# At least this share of the way from ankle to knee must be seen for the range to be placed.
_LEAST_SHARE = 0.45
# Where the range leaves a millimetre open, about the knee, places are not to be taken for bulges.
LEAST_SCALE_MM = 0.7
_STEPS_MM = ((12.0, 24.0), (6.0, 12.0), (3.0, 6.0), (1.5, 3.0))
_COARSE_ROWS, _COARSE_COLUMNS = 3, 4
_COARSE_ROUNDS, _LOSS_CAP_MM = 3, 6.0


@dataclass(frozen=True)
class UsualShape:
    """The range of shapes, as harmonics of the support function of a left leg whose toes point along y.

    Attributes
    ----------
    u
        (U,) heights: 0 at the ankle joint, 1 at the knee joint.
    mean
        (U, K) harmonics, mm for a shank of :data:`UNIT_MM`.
    modes, mode_sd
        (M, U, K) and (M,): the modes, of unit size, and how far bodies go along them.
    spread
        (U, T) how far a body usually is from its own fit, mm, by direction of equal steps.
    own
        (U, T) what a body has of its own beyond all modes, mm (rms), by the same directions.
    fall
        (U,) girth that is usually lost towards the trunk by that height, mm: 98 of 100 lose no more.
    joints
        (2, 2) mean and sd of the height of the ankle joint and of the length of the shank, mm.
    """

    u: Array
    mean: Array
    modes: Array
    mode_sd: Array
    spread: Array
    own: Array
    fall: Array
    joints: Array


@dataclass(frozen=True)
class UsualFit:
    """A limb held against the range.

    Attributes
    ----------
    level
        (Z, T) the limb less the range's mean, mm: what ``taper`` was fitted to.
    taper
        The modes and the smooth taper, as a linear map.
    spread
        (Z, T) how far a usual limb is from its own fit, mm; infinite where the range says nothing.
    fall
        (Z,) girth that is usually lost towards the trunk, mm.
    ankle_mm, knee_mm
        Heights of the joints as the fit placed them.
    missed_mm
        See :func:`missed_mm`.
    shape
        The range itself, for this limb's side and turned to its front.
    """

    level: Array
    taper: Taper
    spread: Array
    fall: Array
    ankle_mm: float
    knee_mm: float
    missed_mm: float
    shape: UsualShape


@cache
def usual_leg() -> UsualShape:
    """Return the range of legs."""
    with files("digitise.care.padding.usual").joinpath("usual_leg.npz").open("rb") as stream:
        stored = np.load(stream, allow_pickle=False)
        return UsualShape(**{name: np.asarray(stored[name], float) for name in UsualShape.__annotations__})


def fit_usual(limb: Limb, chart: Chart, shape: UsualShape | None = None) -> UsualFit | None:
    """Hold a leg against what legs usually are.

    Parameters
    ----------
    limb, chart
        The limb and its chart.
    shape
        The range; the stored one when None.

    Returns
    -------
    The fit; None for an arm, for a leg of which too little was measured, and where no usual leg comes near:
    then only the limb's own taper can tell.
    """
    if limb.kind != LimbKind.LEG:
        return None
    shape = _on_side(shape or usual_leg(), limb)
    coarse = followed(shape)
    thin = _Thin(chart, coarse)
    ankle, shank = thin.place()
    seen = (np.array([chart.z[0], chart.z[-1]]) - ankle) / shank
    if min(seen[1], 1.0) - max(seen[0], 0.0) < _LEAST_SHARE:
        return None
    on = PlacedShape(coarse, chart.theta, chart.z, ankle, shank)
    level = chart.h - on.mean
    terms, penalty = smooth_terms(chart.theta, chart.z, USUAL_SLOPE_SD)
    taper = robust_taper(
        chart.theta,
        chart.z,
        level,
        np.concatenate([terms, on.modes], axis=1),
        with_modes(penalty, coarse.mode_sd),
        on.inside,
        LEAST_SCALE_MM,
    )
    missed = missed_mm(taper.stand_out(level)[on.inside])
    if missed > _POOR_MM:
        return None
    return UsualFit(level, taper, on.spread, on.fall, ankle, ankle + shank, missed, shape)


def followed(shape: UsualShape) -> UsualShape:
    """Return the range with no finer modes than a fit may follow."""
    return replace(shape, modes=shape.modes[:FOLLOWED], mode_sd=shape.mode_sd[:FOLLOWED])


def missed_mm(left: Array) -> float:
    """Return what half of a fit's places miss by no more, mm: even a large bulge has no say."""
    return float(np.median(np.abs(left)))


def _on_side(shape: UsualShape, limb: Limb) -> UsualShape:
    """Return the range for this limb's side, turned to where its front is in the axis frame."""
    forward = limb.axis_from_world.rotation @ np.array([0.0, 1.0, 0.0])
    turn = np.arctan2(forward[1], forward[0]) - np.pi / 2
    k = orders((shape.mean.shape[1] - 1) // 2)
    is_sine = np.arange(len(k)) > 0
    is_sine &= np.arange(len(k)) % 2 == 0
    if limb.side == Side.RIGHT:
        # x to -x takes theta to pi - theta
        sign = np.where(is_sine, -1.0, 1.0) * (-1.0) ** k
        columns = len(shape.spread[0])
        back = (columns // 2 - np.arange(columns)) % columns
        shape = replace(
            shape,
            mean=shape.mean * sign,
            modes=shape.modes * sign,
            spread=shape.spread[:, back],
            own=shape.own[:, back],
        )
    return _turned(shape, turn, k)


def _turned(shape: UsualShape, turn: float, k: Array) -> UsualShape:
    def along(values: Array) -> Array:
        out = values.copy()
        c, s = np.cos(k[1::2] * turn), np.sin(k[1::2] * turn)
        even, odd = values[..., 1::2], values[..., 2::2]
        out[..., 1::2], out[..., 2::2] = c * even - s * odd, s * even + c * odd
        return out

    steps = round(turn / (2 * np.pi) * len(shape.spread[0]))
    spread, own = (np.roll(each, steps, axis=1) for each in (shape.spread, shape.own))
    return replace(shape, mean=along(shape.mean), modes=along(shape.modes), spread=spread, own=own)


def with_modes(penalty: Array, mode_sd: Array) -> Array:
    """Return the penalty (P, P) of the smooth taper's terms with the modes' own after it."""
    size = len(penalty) + len(mode_sd)
    out = np.zeros((size, size))
    out[: len(penalty), : len(penalty)] = penalty
    out[range(len(penalty), size), range(len(penalty), size)] = PLACE_MM2 / (_MODE_SPREAD * mode_sd) ** 2
    return out


class PlacedShape:
    """The range at the places of a chart, for joints at given heights."""

    def __init__(self, shape: UsualShape, theta: Array, z: Array, ankle: float, shank: float) -> None:
        u = (z - ankle) / shank
        self.inside = np.asarray((u >= shape.u[0]) & (u <= shape.u[-1]))
        at = np.clip((u - shape.u[0]) / (shape.u[1] - shape.u[0]), 0, len(shape.u) - 1 - 1e-9)
        low = at.astype(int)
        part = at - low
        terms = fourier(theta, (shape.mean.shape[1] - 1) // 2)
        size = shank / UNIT_MM

        def between(values: Array) -> Array:
            weight = part.reshape((-1,) + (1,) * (values.ndim - 1))
            return np.asarray(values[low] * (1 - weight) + values[low + 1] * weight)

        self.mean = size * between(shape.mean) @ terms.T
        along = between(np.moveaxis(shape.modes, 0, 1))
        self.modes = size * np.einsum("zmk,tk->ztm", along, terms).reshape(len(z) * len(theta), -1)
        every = len(shape.spread[0]) / len(theta)
        columns = np.round(np.arange(len(theta)) * every).astype(int) % len(shape.spread[0])
        self.spread, self.own = (
            np.where(self.inside[:, None], size * between(each)[:, columns], np.inf)
            for each in (shape.spread, shape.own)
        )
        self.fall = size * between(shape.fall)


class _Thin:
    """Finds the joints on a few places of a chart: where the range fits best."""

    def __init__(self, chart: Chart, shape: UsualShape) -> None:
        self.shape = shape
        self.theta, self.z = chart.theta[::_COARSE_COLUMNS], chart.z[::_COARSE_ROWS]
        self.h = chart.h[::_COARSE_ROWS, ::_COARSE_COLUMNS]
        self.terms, penalty = smooth_terms(self.theta, self.z, USUAL_SLOPE_SD)
        self.penalty = with_modes(penalty, shape.mode_sd)

    def place(self) -> tuple[float, float]:
        """Return the height of the ankle joint and the length of the shank, mm."""
        (ankle, ankle_sd), (shank, shank_sd) = self.shape.joints
        steps = np.arange(-2, 3)
        best = min(
            (self._loss(a, s), a, s)
            for a in ankle + ankle_sd * steps
            for s in shank + shank_sd * np.arange(-2.5, 2.6, 0.5)
        )
        for step_a, step_s in _STEPS_MM:
            _, a, s = best
            around = [(a + i * step_a, s + j * step_s) for i in (-1, 0, 1) for j in (-1, 0, 1) if i or j]
            best = min(best, *((self._loss(*joints), *joints) for joints in around))
        return best[1], best[2]

    def _loss(self, ankle: float, shank: float) -> float:
        on = PlacedShape(self.shape, self.theta, self.z, ankle, shank)
        design = np.concatenate([self.terms, on.modes], axis=1)
        values = (self.h - on.mean).ravel()
        inside = np.repeat(on.inside, len(self.theta)).astype(float)
        weight = inside
        left = values
        for _ in range(_COARSE_ROUNDS):
            weighed = design.T * weight
            x = np.linalg.solve(weighed @ design + self.penalty, weighed @ values)
            left = np.abs(values - design @ x)
            weight = inside / np.maximum(left, 1.0)
        (ankle_0, ankle_sd), (shank_0, shank_sd) = self.shape.joints
        held = ((ankle - ankle_0) / ankle_sd) ** 2 + ((shank - shank_0) / shank_sd) ** 2
        missed = np.sum(inside * np.minimum(left, _LOSS_CAP_MM)) / max(inside.sum(), 1.0)
        return float(missed + 0.01 * held)
