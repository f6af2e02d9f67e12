"""Bumps and folds that a leg needs beside all that is expected of it: where, how high and how large.

The likeliest place on a coarse grid is taken, and then its height, centre and extent are fitted together
with those of all that were taken before (Gauss-Newton steps, damped after Marquardt 1963, from memory); the
extent is held to the usual one.  What is left is judged beside these and all that they could still move by,
so that a place has no echo (orthogonal matching pursuit).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitise.care.padding.usual.grid import Grid, Mark
from digitise.geometry.rigid import Array

LEAST_SCORE = 4.2
"""From so many standard deviations on a place is listed: by trial on 120 drawn legs that had no say in the
range, less than one place in 30 legs."""
# On the grid a mark scores up to so much less than at its own place and extent (by trial).
_GRID_LOSS = 0.4
_MOST = 12
# A place is listed if the size from which it would be is so many of its standard deviations (by trial on
# photographed legs: what was listed wrongly was known to 3 mm and worse).
_LEAST_SEEN = 1.5
# Extents differ from the usual one by a quarter (sd of their logarithm; ours), and by no more than twice
# that: what is wider reaches all round, and is swelling.
_SIZE_SD, _MOST_ODD = 0.25, 0.5
# No step goes further: height (mm, free), z, theta, tall, wide.
_STEPS = np.array([np.inf, 12.0, 0.25, 0.2, 0.2])
_ROUNDS, _ENOUGH, _DAMPED, _HOPELESS = 12, 1e-3, 1e-2, 1e4


@dataclass(frozen=True)
class Scored:
    """A mark, and its height over its standard deviation given all others, less what its extent costs."""

    mark: Mark
    score: float


@dataclass(frozen=True, eq=False)
class _Fit:
    """Marks laid beside a whitened leg.

    Attributes
    ----------
    marks
        In the order in which they were taken.
    slopes
        (P, D) of each, whitened.
    left
        (P,) what they leave.
    cost
        Its square, and what their extents cost.
    """

    marks: tuple[Mark, ...]
    slopes: tuple[Array, ...]
    left: Array
    cost: float


class Pursuit:
    """A leg's heights above what is expected of it, whitened, and the marks that explain them."""

    def __init__(self, level: Array, white: Array, grid: Grid, least_mm: float) -> None:
        """Take a leg.

        Parameters
        ----------
        level
            (P,) the leg less what is expected, of unit covariance.
        white
            (P, P) what becomes of a surface's parameters there.
        grid
            Its places.
        least_mm
            A mark that is less high or deep is none.
        """
        self._level, self._white, self._grid, self._least_mm = level, white, grid, least_mm

    def marks(self) -> tuple[tuple[Scored, ...], float]:
        """Return the marks that are needed, the likeliest first, and the square of what they leave."""
        marks, columns = self._grid.every()
        bare = self._white @ columns
        fit = self._laid(())
        for _ in range(_MOST):
            taken = _span(fit.slopes)
            left, shapes = _beside(taken, self._level), _beside(taken, bare)
            size = np.sqrt(np.maximum(np.einsum("ij,ij->j", shapes, shapes), 1e-12))
            score = shapes.T @ left / size
            score[(np.abs(score) < self._least_mm * size) | (size < _LEAST_SEEN / self._least_mm)] = 0.0
            best = int(np.argmax(np.abs(score)))
            if abs(score[best]) < LEAST_SCORE - _GRID_LOSS:
                break
            more = self._fitted((*fit.marks, replace(marks[best], height_mm=float(score[best] / size[best]))))
            if self._scored(more, len(fit.marks)) is None:
                break
            fit = more
        scored = [self._scored(fit, number) for number in range(len(fit.marks))]
        found = sorted((each for each in scored if each is not None), key=lambda one: -one.score)
        return tuple(found), fit.cost

    def _scored(self, fit: _Fit, number: int) -> Scored | None:
        """Return a mark with its score; None where it is too little or too little is known of it."""
        mark = fit.marks[number]
        others = _span([each for n, each in enumerate(fit.slopes) if n != number])
        known = float(np.linalg.norm(_beside(others, fit.slopes[number][:, 0])))
        score = np.sqrt(max((mark.height_mm * known) ** 2 - _odd(mark), 0.0))
        enough = score >= LEAST_SCORE and abs(mark.height_mm) >= self._least_mm
        return Scored(mark, float(score)) if enough and known >= _LEAST_SEEN / self._least_mm else None

    def _laid(self, marks: tuple[Mark, ...]) -> _Fit:
        slopes = tuple(self._white @ self._grid.slopes(each) for each in marks)
        left = self._level - sum(
            (each.height_mm * slope[:, 0] for each, slope in zip(marks, slopes, strict=True)), np.zeros(1)
        )
        return _Fit(marks, slopes, left, float(left @ left + sum(map(_odd, marks))))

    def _fitted(self, marks: tuple[Mark, ...]) -> _Fit:
        """Return marks where, and as large as, they leave least."""
        fit, damping = self._laid(marks), _DAMPED
        for _ in range(_ROUNDS):
            step = _step(fit, damping)
            tried = self._laid(tuple(self._moved(*each) for each in zip(fit.marks, step, strict=True)))
            gained = fit.cost - tried.cost
            if gained > 0:
                fit, damping = tried, damping / 5
            else:
                damping *= 6
            if 0 <= gained < _ENOUGH or damping > _HOPELESS:
                break
        return fit

    def _moved(self, mark: Mark, step: Array) -> Mark:
        step = np.clip(step, -_STEPS[: len(step)], _STEPS[: len(step)])
        return replace(
            mark,
            height_mm=float(mark.height_mm + step[0]),
            z=float(np.clip(mark.z + step[1], self._grid.z[0], self._grid.z[-1])),
            theta=float(np.mod(mark.theta + step[2], 2 * np.pi)),
            tall=float(np.clip(mark.tall + step[3], -_MOST_ODD, _MOST_ODD)),
            wide=0.0 if mark.fold else float(np.clip(mark.wide + step[4], -_MOST_ODD, _MOST_ODD)),
        )


def _step(fit: _Fit, damping: float) -> list[Array]:
    """Return the damped Gauss-Newton step of each mark's height, z, theta, tall and wide."""
    slopes = np.concatenate(fit.slopes, axis=1)
    normal, down = slopes.T @ slopes, slopes.T @ fit.left
    ends = np.cumsum([each.shape[1] for each in fit.slopes])
    for mark, end in zip(fit.marks, ends, strict=True):
        at = np.arange(end - len(mark.sizes), end)
        normal[at, at] += 1 / _SIZE_SD**2
        down[at] -= mark.sizes / _SIZE_SD**2
    normal[np.diag_indices(len(normal))] *= 1 + damping
    return np.split(np.linalg.solve(normal, down), ends[:-1])


def _odd(mark: Mark) -> float:
    """Return what an extent other than the usual one costs."""
    return float(np.sum((mark.sizes / _SIZE_SD) ** 2))


def _span(slopes: Sequence[Array]) -> Array | None:
    return np.linalg.qr(np.concatenate(slopes, axis=1))[0] if slopes else None


def _beside(taken: Array | None, values: Array) -> Array:
    """Return what of values (P, ...) lies beside a span (P, N)."""
    return values if taken is None else np.asarray(values - taken @ (taken.T @ values))
