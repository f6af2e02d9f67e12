"""What a limb is compared with when there is no other: its own smooth taper, and its taut outer taper."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage

from digitise.care.surface.chart import Mask
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier
from digitise.shape.basis import Basis

# The taper is an oval that changes as slowly as a calf does: what is shorter stands out from it.
TAPER_KNOTS_MM = 150.0
TAPER_HARMONICS = 2
# A turn lies across a hollow no longer than the bandage is wide, and follows a longer one; 12 cm is the
# widest in common use.
SPAN_MM = 120.0
# Places that differ by more than this many times the usual difference have no say in the taper.
_REJECT = 3.5
_LEAST_SCALE_MM = 0.3
_ROUNDS = 10
_RIM_ROUNDS = 3
_THIN = 2
_RIM_MM, _RIM_TURN = 24.0, np.radians(20.0)
# A calf's slope changes by 0.15 within 100 mm.  A patch that is alike (70 mm, a sixth of the way round) holds
# some 12 of the places used, with differences of 1 to 2 mm: so much variance a place of them speaks with.
TAPER_SLOPE_SD = 0.15
PLACE_MM2 = 25.0


@dataclass(frozen=True)
class Taper:
    """A smooth surface that was fitted with weights that stay: a linear map from charts to charts.

    Attributes
    ----------
    theta, z
        (T,) and (Z,) of the charts it is for.
    design
        (Z T, P) values of its terms at the chart's places.
    weight
        (Z', T') robust weights of every second row and column.
    penalty
        (P, P) precision of its terms, times the variance of a place with weight 1.
    usual_mm
        How far the limb usually is from it where it has a say.
    solve
        (P, N) least squares with the weights, from every second row and column.
    """

    theta: Array
    z: Array
    design: Array
    weight: Array
    penalty: Array
    usual_mm: float
    solve: Array

    def stand_out(self, h: Array) -> Array:
        """Return by how much charts (..., Z, T) stand out beyond their taper, mm."""
        flat = h.reshape(-1, self.design.shape[0])
        used = h[..., ::_THIN, ::_THIN].reshape(len(flat), -1)
        return np.asarray(flat - (used @ self.solve.T) @ self.design.T).reshape(h.shape)

    def stand_out_thin(self, h: Array) -> Array:
        """Return the same of charts (..., Z, T / 2) of which every second column is known."""
        rows, columns = len(self.z), len(self.theta)
        flat = h.reshape(-1, rows * (columns // _THIN))
        used = h[..., ::_THIN, :].reshape(len(flat), -1)
        design = self.design.reshape(rows, columns, -1)[:, ::_THIN].reshape(flat.shape[1], -1)
        return np.asarray(flat - (used @ self.solve.T) @ design.T).reshape(h.shape)

    def without(self, left_out: Mask) -> Taper:
        """Return the taper that the rest of the limb alone gives, less the places of a mask (Z, T)."""
        weight = np.where(left_out[::_THIN, ::_THIN], 0.0, self.weight)
        normal, weighed = self._weighed(weight)
        return replace(self, weight=weight, solve=np.asarray(np.linalg.solve(normal, weighed), np.float64))

    def sd_of(self, weight: Array) -> float:
        """Return how uncertain a sum of the taper's heights with weights (Z, T) is.

        It is what the places that have a say, each as uncertain as :data:`PLACE_MM2` says, leave open of a
        surface as smooth as the taper is taken to be.
        """
        normal, _ = self._weighed(self.weight)
        row = weight.ravel() @ self.design
        return float(np.sqrt(PLACE_MM2 * row @ np.linalg.solve(normal, row)))

    def _weighed(self, weight: Array) -> tuple[Array, Array]:
        design = self.design.reshape(len(self.z), len(self.theta), -1)[::_THIN, ::_THIN]
        return _weighed(design.reshape(weight.size, -1), weight.ravel(), self.penalty)


def smooth_terms(theta: Array, z: Array, slope_sd: float = TAPER_SLOPE_SD) -> tuple[Array, Array]:
    """Return the smooth taper's terms at a chart's places, (Z T, P), and their penalty (P, P)."""
    basis = Basis.uniform(float(z[0]), float(z[-1]), TAPER_KNOTS_MM, TAPER_HARMONICS)
    terms = np.einsum("tk,zs->ztks", fourier(theta, TAPER_HARMONICS), basis.splines(z))
    # where nothing is left to follow, the taper runs on straight
    rough = np.kron(np.eye(basis.n_terms), basis.roughness_precision(slope_sd))
    penalty = np.asarray(PLACE_MM2 * rough + 1e-9 * np.eye(len(rough)), dtype=np.float64)
    return terms.reshape(len(z) * len(theta), basis.size), penalty


def own_taper(theta: Array, z: Array, h: Array) -> Taper:
    """Fit the smooth taper of a chart (Z, T) so that single bulges and dents have no say in it."""
    return robust_taper(theta, z, h, *smooth_terms(theta, z))


def robust_taper(
    theta: Array,
    z: Array,
    h: Array,
    whole: Array,
    penalty: Array,
    inside: Mask | None = None,
    least: float = _LEAST_SCALE_MM,
) -> Taper:
    """Fit terms to a chart so that single bulges and dents have no say.

    Iterated weights: first the least absolute difference, then Tukey's biweight; at last what was rejected is
    left out together with its rim, because the flanks of a bulge would still pull the taper up.

    Parameters
    ----------
    theta, z, h
        The chart, (T,), (Z,) and (Z, T).
    whole
        (Z T, P) values of the terms.
    penalty
        (P, P) their precision, times the variance of a place with weight 1.
    inside
        (Z,) rows that have a say; all when None.
    least
        The usual difference is taken to be no smaller, mm.
    """
    # smooth as it is, the taper does not need every place of the chart
    thin = h[::_THIN, ::_THIN]
    design = whole.reshape(*h.shape, -1)[::_THIN, ::_THIN].reshape(thin.size, -1)
    say = np.ones(thin.shape) if inside is None else np.broadcast_to(inside[::_THIN, None], thin.shape)
    has_say = say.astype(float).ravel()
    values, weight, scale = thin.ravel(), has_say, least
    for turn in range(2 * _ROUNDS + _RIM_ROUNDS):
        normal, weighed = _weighed(design, weight, penalty)
        left = np.abs(values - design @ np.linalg.solve(normal, weighed @ values))
        scale = max(1.4826 * float(np.median(left[has_say > 0])), least)
        if turn < _ROUNDS:
            weight = has_say / np.maximum(left, 0.1 * scale)
        else:
            weight = has_say * np.maximum(1 - (left / (_REJECT * scale)) ** 2, 0.0) ** 2
        if turn >= 2 * _ROUNDS:
            rejected = ((weight == 0) & (has_say > 0)).reshape(thin.shape)
            weight = np.where(with_rim(rejected, theta[::_THIN], z[::_THIN]).ravel(), 0.0, weight)
    normal, weighed = _weighed(design, weight, penalty)
    solve = np.asarray(np.linalg.solve(normal, weighed), dtype=np.float64)
    return Taper(theta, z, whole, weight.reshape(thin.shape), penalty, scale, solve)


def with_rim(mask: Mask, theta: Array, z: Array) -> Mask:
    """Return a mask (Z, T) grown all round by as much as the flanks of a bulge run out unseen."""
    rows = 1 + 2 * round(_RIM_MM / float(z[1] - z[0]))
    columns = 1 + 2 * round(_RIM_TURN / float(theta[1] - theta[0]))
    grown = ndimage.maximum_filter(mask, size=(rows, columns), mode=("nearest", "wrap"))
    return np.asarray(grown, dtype=bool)


def _weighed(design: Array, weight: Array, penalty: Array) -> tuple[Array, Array]:
    """Return the normal matrix (P, P) of penalised least squares and its right side's map (P, N)."""
    weighed = design.T * weight
    return weighed @ design + penalty, weighed


def outer_lift(h: Array, step: float, span: float = SPAN_MM, coarse: bool = False) -> Array:
    """Return how far a taut sheet along the limb lies above the surface.

    Parameters
    ----------
    h
        (..., Z, T) charts with rows ``step`` mm apart.
    step
        Distance of rows, mm.
    span
        Longest stretch that the sheet bridges, mm.
    coarse
        Try a few lengths of bridges only; reads low by some percent of the lift.

    Returns
    -------
    (..., Z, T) mm, 0 where the sheet touches: the greatest height of a chord of at most ``span`` above it.
    """
    longest = max(2, int(span // step))
    lengths = list(range(1, longest))
    if coarse:
        lengths = sorted({max(1, int(longest * part)) for part in (0.14, 0.3, 0.5, 0.7)})
    lift = np.zeros_like(h)
    rows = h.shape[-2]
    for below in lengths:
        for above in lengths:
            if below + above > longest or below + above >= rows:
                continue
            middle = slice(below, rows - above)
            low, high = h[..., : rows - below - above, :], h[..., below + above :, :]
            chord = (above * low + below * high) / (below + above)
            np.maximum(lift[..., middle, :], chord - h[..., middle, :], out=lift[..., middle, :])
    return lift


def sagitta(h: Array, rows: int) -> Array:
    """Return how far charts (..., Z, T) lie below a straight edge of ``2 rows`` rows centred there, mm.

    Zero at the ends, where the edge does not fit.
    """
    out = np.zeros_like(h)
    if h.shape[-2] > 2 * rows:
        chord = (h[..., : -2 * rows, :] + h[..., 2 * rows :, :]) / 2
        out[..., rows:-rows, :] = chord - h[..., rows:-rows, :]
    return out
