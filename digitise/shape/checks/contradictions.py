"""Does the solved limb make sense? Its sections, its volume beside cones and its interval are tested."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from digitise.anatomy import LimbKind
from digitise.errors import ContradictionError, ShapeError
from digitise.geometry.rigid import Array
from digitise.geometry.runs import true_runs
from digitise.geometry.support import fourier
from digitise.shape.checks.warn import FAR, FitWarning
from digitise.shape.limb import MM3_PER_ML, Z95, Limb, area, coefficients, girth, levels, volume
from digitise.shape.taped import TapeCheck, TapeCross
from digitise.tape.advice import explain_tape

# Area over that of a circle of the same girth. Sections of nine made legs lie at 0.88-1.00 above the foot (a
# thigh that is 1.6 times as wide as deep would be at 0.92); a limb's are never below this.
LEAST_ROUNDNESS = 0.85
# The same over all of a limb: 0.96-0.99 on those legs, for only ankle and groin are far from round.
MEAN_ROUNDNESS = 0.93
# So long a stretch below it is neither a wild level nor an ankle, mm.
_STRETCH_MM = 100.0
# A foot's sections are long by nature, so nothing is tested lower than this, mm.
_ABOVE_FOOT_MM = 100.0
# A section curves outward all round: its radius of curvature, over the mean radius, may come out slightly
# negative where six harmonics follow a shin's crest. More than this is no section of a limb.
_LEAST_CURVATURE = -0.5
# Cones over rows at most 200 mm apart read up to 10 % high against a leg's true volume, less than 5 % low.
_CONE_APART_MM = 200.0
_CONE_ROWS = 4
_CONE_NOTED = (0.86, 1.08)
_CONE_REFUSED = (0.78, 1.20)
# So many tape rows, and such a share of them, that differ by more than ``FAR`` are no slip and no fold.
_FAR_ROWS = 2
_FAR_SHARE = 0.4
# Two rows next to each other that differ by more than this one way are no slip, for a swap differs both ways:
# in a photograph the edge between them is not the limb's, or in all of them the limb was covered. Of 48
# photo-real legs none has such rows, nor has one whose tape rows were misread, swapped or taken 20 mm off.
_NEIGHBOURS_FAR = 0.05
# Rows next to each other that agree say that photographs and tape are of one limb and scale; two might do so
# by chance.
_AGREEING_ROWS = 3
# A volume known no better than this says less than the cones of five tapes do (10 %), and half of what a limb
# loses in good weeks would pass unseen: half-width of the 95 % interval over the volume.
LEAST_KNOWN = 0.06

Between = tuple[float | None, float | None]


class TapeContradictionError(ContradictionError):
    """Several tape rows contradict the photographs.

    Parameters
    ----------
    what, where, do
        As for every error.
    agree
        Heights between which the longest run of neighbouring rows agrees, mm: the lowest of them where rows
        below contradict, the highest where rows above do, else None.  None where fewer than three agree.
    """

    def __init__(self, what: str, *, where: str, do: str, agree: Between | None) -> None:
        super().__init__(what, where=where, do=do)
        self.agree = agree


def require_limb(limb: Limb, names: tuple[str, ...]) -> None:
    """Refuse sections that no limb has; parameters as for :func:`require_known`.

    Raises
    ------
    ContradictionError
        Where over 100 mm or more the sections are far flatter than a limb's, or cave in, or all are flat.
    """
    z = levels(limb)
    z = z[z >= _ABOVE_FOOT_MM] if limb.kind == LimbKind.LEG else z
    if not len(z):
        return
    roundness = area(limb, z).mean / (girth(limb, z).mean ** 2 / (4 * np.pi))
    caved = _least_curvature(limb, z) < _LEAST_CURVATURE
    low, high = _longest(z, (roundness < LEAST_ROUNDNESS) | caved)
    if high - low < _STRETCH_MM and roundness.mean() >= MEAN_ROUNDNESS:
        return
    if high - low < _STRETCH_MM:
        low, high = float(z[0]), float(z[-1])
    raise ContradictionError(
        f"From {low:.0f} to {high:.0f} mm the photographs contradict each other: together they make sections "
        "that no limb has.",
        where=", ".join(names),
        do="The limb moved between them, or they are not of one limb or visit: check, or take them again.",
    )


def _least_curvature(limb: Limb, z: Array) -> Array:
    """Return the least radius of curvature h + h'' of sections over their mean radius, (N,)."""
    mean, _ = coefficients(limb, z)
    theta = np.linspace(0.0, 2 * np.pi, 120, endpoint=False)
    k = limb.basis.harmonics
    bend = mean @ (fourier(theta, k) + fourier(theta, k, 2)).T
    return np.asarray(bend.min(axis=1) / mean[:, 0])


def _longest(z: Array, wrong: NDArray[np.bool_]) -> tuple[float, float]:
    """Return the ends of the longest run of wrong levels."""
    best = (0.0, 0.0)
    for part in np.split(np.arange(len(z)), np.flatnonzero(np.diff(wrong.astype(int))) + 1):
        if wrong[part[0]] and z[part[-1]] - z[part[0]] > best[1] - best[0]:
            best = (float(z[part[0]]), float(z[part[-1]]))
    return best


def cone_warnings(
    limb: Limb, checks: tuple[TapeCheck, ...], names: tuple[str, ...]
) -> tuple[FitWarning, ...]:
    """Compare the volume with the cone sum of the tape, between its first and last row.

    Raises
    ------
    ContradictionError
        When they differ by more than any limb's shape makes them.
    """
    rows = [check.row for check in checks if check.verdict in ("agrees", "differs")]
    rows = sorted((r for r in rows if limb.from_mm <= r.height_mm <= limb.to_mm), key=lambda r: r.height_mm)
    z, c = (np.array([getattr(r, name) for r in rows]) for name in ("height_mm", "girth_mm"))
    if len(z) < _CONE_ROWS or np.max(np.diff(z)) > _CONE_APART_MM:
        return ()
    cones = float(
        np.sum(np.diff(z) * (c[:-1] ** 2 + c[:-1] * c[1:] + c[1:] ** 2)) / (12 * np.pi * MM3_PER_ML)
    )
    measured = float(volume(limb, float(z[0]), float(z[-1])).mean)
    ratio = measured / cones
    stretch = f"from {z[0]:.0f} to {z[-1]:.0f} mm"
    text = f"The photographs make {measured:.0f} mL {stretch}, the tape's cones {cones:.0f} mL"
    if not _CONE_REFUSED[0] < ratio < _CONE_REFUSED[1]:
        raise ContradictionError(
            f"{text}: they are not of one limb.",
            where=", ".join(names),
            do="Check that photographs and tape belong to one limb and visit.",
        )
    if _CONE_NOTED[0] < ratio < _CONE_NOTED[1]:
        return ()
    return (FitWarning("cones", f"{text}: check that both belong to one limb and visit."),)


def require_taped(checks: tuple[TapeCheck, ...], names: tuple[str, ...]) -> None:
    """Refuse photographs that several tape rows contradict.

    One row may be misread, or lie at a fold; of several, the edge that was followed is not the limb's, or
    photographs and tape are not of one limb or scale.

    Raises
    ------
    TapeContradictionError
        Naming the row that is furthest off.
    """
    seen = [check for check in checks if check.verdict != "not seen"]
    far = [
        check
        for check in seen
        if check.verdict != "agrees" and abs(check.difference_mm) > FAR * check.row.girth_mm
    ]
    # rows that contradict the other rows were set aside as slips
    beside = [check for check in far if check.verdict == "differs"]
    many = len(beside) >= _FAR_SHARE * len(seen) or len(far) > len(seen) / 2
    slip = _slip(checks)
    if len(far) < _FAR_ROWS or not many:
        far, slip = _far_neighbours(seen), ""  # two misread rows are rarely off one way
    if not far:
        return
    worst = max(far, key=lambda check: abs(check.difference_mm) / check.row.girth_mm)
    raise TapeContradictionError(
        f"{len(far)} of {len(seen)} tape rows contradict the photographs: at {worst.row.height_mm:.0f} mm "
        f"the tape reads {worst.row.girth_mm:.0f} mm, the photographs say {worst.photo_mm:.0f} mm."
        f"{slip}",
        where=", ".join(names),
        do="Look whether something stands before or beside the limb or covers it, whether the tape is in mm "
        "and of this limb, and whether the sheets were printed at 100 %.",
        agree=_agreeing(seen, far),
    )


def _far_neighbours(seen: list[TapeCheck]) -> list[TapeCheck]:
    """Return the rows of which the next one differs as far the same way; a pair that agrees is none."""
    seen = sorted(seen, key=lambda check: check.row.height_mm)
    off = [check.difference_mm / check.row.girth_mm for check in seen]
    far: list[TapeCheck] = []
    for pair, (a, b) in zip(pairwise(seen), pairwise(off), strict=True):
        told = any(check.verdict != "agrees" for check in pair)
        if told and a * b > 0 and min(abs(a), abs(b)) > _NEIGHBOURS_FAR:
            far += [check for check in pair if check not in far]
    return far


def _agreeing(seen: list[TapeCheck], far: list[TapeCheck]) -> Between | None:
    """Return between which heights the rows agree, as :class:`TapeContradictionError` tells it."""
    seen = sorted(seen, key=lambda check: check.row.height_mm)
    runs = true_runs(np.array([check not in far for check in seen]))
    first, last = max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
    if last - first < _AGREEING_ROWS:
        return None
    low = seen[first].row.height_mm if first > 0 else None
    return low, (seen[last - 1].row.height_mm if last < len(seen) else None)


def require_scale(cross: TapeCross, names: tuple[str, ...]) -> None:
    """Refuse photographs and tape whose scales are so far apart that the volume is of no use.

    Which of the two is wrong is not known, so the truth may lie at either: one sd is half the way. Areas go
    with the square of a scale.

    Raises
    ------
    ContradictionError
        Where that alone makes the volume's interval wider than ``LEAST_KNOWN``.
    """
    if not cross.is_off or Z95 * abs(cross.ratio.share) <= LEAST_KNOWN:
        return
    raise ContradictionError(
        f"{_rows_off(cross)}{_slip(cross.checks)}",
        where=", ".join(names),
        do="Look whether an outline follows something else than the limb, whether the sheets were printed at "
        "100 %, whether the photographs are full and uncropped, and whether the tape is of this limb.",
    )


def _rows_off(cross: TapeCross) -> str:
    off = [
        100 * check.difference_mm / check.photo_mm for check in cross.checks if check.verdict != "not seen"
    ]
    if not off or min(off) > 0 or max(off) < 0:
        return f"All tape rows read {100 * cross.ratio.share:+.1f} % against the photographs."
    return f"Tape rows read from {min(off):+.0f} to {max(off):+.0f} % against the photographs."


def _slip(checks: Sequence[TapeCheck]) -> str:
    """Return what slip would explain rows that the photographs contradict, as a sentence; or nothing."""
    seen = [check for check in checks if check.verdict != "not seen"]
    predicted = {check.row.height_mm: (check.photo_mm, check.photo_sd_mm) for check in seen}
    advice = explain_tape([check.row for check in seen], predicted)
    told = next((one.text for one in advice if one.likely), "")
    return f" {told}" if told else ""


def require_known(limb: Limb, names: tuple[str, ...]) -> None:
    """Refuse a volume whose interval is too wide to be of use.

    Parameters
    ----------
    limb
        The solved limb.
    names
        Of the photographs.

    Raises
    ------
    ShapeError
        Naming the heights, and where the sections are known worst.
    """
    found = volume(limb, limb.from_mm, limb.to_mm)
    share = float(Z95 * found.sd / found.mean)
    if share <= LEAST_KNOWN:
        return
    z = levels(limb)
    worst = float(z[int(np.argmax(area(limb, z).sd))])
    raise ShapeError(
        f"The volume from {limb.from_mm:.0f} to {limb.to_mm:.0f} mm would be known to ±{100 * share:.0f} % "
        f"only (more than ±{100 * LEAST_KNOWN:.0f} % is of no use), least so near {worst:.0f} mm.",
        where=", ".join(names),
        do="Measure a girth there with the tape, or choose heights where more of the limb's edges is seen.",
    )
