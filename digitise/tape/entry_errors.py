"""Rows that a slip of the pen or of the unit would explain.

A row is doubted when it lies more than three standard deviations from what is expected at its height:
from the photographs where they say something, else from the neighbouring rows.  A correction is named
only when the corrected value lies within two standard deviations and at least twice as near; how many
times nearer is stated in the text and kept as ``ratio``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from digitise.geometry.rigid import Array
from digitise.tape.rows import Code, TapeAdvice, TapeRow
from digitise.tape.table import LARGEST_GIRTH_MM, SMALLEST_GIRTH_MM

Expected = Mapping[int, tuple[float, float]]
"""Per index of a row, what the photographs say of it: (girth mm, sd mm)."""

DOUBTED_SD, FITS_SD = 3.0, 2.0
TAPE_SD_MM = 3.0
"""Ordinary differences between two readings of one girth are 2 to 5 mm (common practice)."""
_NEIGHBOUR_SD = 0.03
_BEND_PER_MM2 = 1.0e-5
_SLOPE_PER_MM = 0.0025
"""Relative sd of a girth told by its neighbours: at best 3 %; between two rows the bend of a limb adds
1e-5 per mm² of the two distances' product (a calf between knee and ankle), beyond the last row the
slope adds 0.0025 per mm (the steepest part of a calf)."""
UNIT_FACTORS = {
    10.0: "centimetres written as millimetres",
    0.1: "millimetres written as centimetres",
    25.4: "inches written as millimetres",
    1 / 25.4: "millimetres written as inches",
    2.54: "inches written as centimetres",
    1 / 2.54: "centimetres written as inches",
}


@dataclass(frozen=True)
class _Edit:
    """A possible slip: row indices with the girths that would undo it."""

    code: Code
    girths: dict[int, float]
    how: str


def doubted_rows(rows: Sequence[TapeRow], expected: Expected) -> list[TapeAdvice]:
    """Explain the doubted rows one after the other, each time by the slip that mends most.

    Parameters
    ----------
    rows
        Lowest first.
    expected
        What the photographs say; the other rows are told by their neighbours, if there are two.
    """
    heights = np.array([row.height_mm for row in rows])
    girths = np.array([row.girth_mm for row in rows])
    used, untouched = list(range(len(rows))), set(range(len(rows)))
    remarks: list[TapeAdvice] = []
    while True:
        off = _misfit(heights, girths, used, expected)
        doubted = {i for i in untouched & off.keys() if abs(off[i][1]) > DOUBTED_SD}
        if not doubted:
            return remarks
        edit = _best_edit(heights, girths, used, expected, untouched, doubted)
        if edit is None:
            worst = max(doubted, key=lambda i: abs(off[i][1]))
            told = worst in expected
            index = worst if told else _least_supported(heights, girths, used, expected, untouched)
            remarks.append(_check_row(rows[index], off[index][0], told))
            used.remove(index)
            untouched.remove(index)
            continue
        mended = _mended(girths, edit)
        remarks.append(_proposal(rows, edit, _misfit(heights, mended, used, expected), expected))
        girths = mended
        untouched -= edit.girths.keys()


def _misfit(
    heights: Array, girths: Array, used: Sequence[int], expected: Expected
) -> dict[int, tuple[float, float]]:
    """Return per row (expected girth mm, deviation in sd); rows of which nothing is known are left out."""
    off: dict[int, tuple[float, float]] = {}
    for i in used:
        if i in expected:
            girth, sd = expected[i]
            sd = math.hypot(sd, TAPE_SD_MM)
        elif len(used) >= 3:
            girth, sd = _from_neighbours(heights, girths, [j for j in used if j != i], heights[i])
        else:
            continue
        off[i] = (girth, (float(girths[i]) - girth) / sd)
    return off


def _from_neighbours(heights: Array, girths: Array, others: Sequence[int], at: float) -> tuple[float, float]:
    """Return (girth, sd) in mm at a height from the other rows, linear in the logarithm of the girth."""
    z, log_girth = heights[others], np.log(girths[others])
    girth = math.exp(float(np.interp(at, z, log_girth)))
    below, above = z[z < at], z[z > at]
    if len(below) and len(above):
        spread = _BEND_PER_MM2 * (at - below[-1]) * (above[0] - at)
    else:
        spread = _SLOPE_PER_MM * float(np.min(np.abs(z - at)))
    return girth, girth * math.hypot(_NEIGHBOUR_SD, spread)


def _best_edit(
    heights: Array,
    girths: Array,
    used: Sequence[int],
    expected: Expected,
    untouched: set[int],
    doubted: set[int],
) -> _Edit | None:
    """Return the slip that, undone, leaves the smallest sum of squares; None when none fits well."""
    before = _misfit(heights, girths, used, expected)
    best, least = None, _sum_of_squares(before)
    for edit in _edits(girths, untouched, doubted):
        after = _misfit(heights, _mended(girths, edit), used, expected)
        fits = all(i in after and abs(after[i][1]) <= FITS_SD for i in edit.girths)
        fits = fits and 2 * _off_by(after, edit) <= _off_by(before, edit)
        if fits and _sum_of_squares(after) < least:
            best, least = edit, _sum_of_squares(after)
    return best


def _mended(girths: Array, edit: _Edit) -> Array:
    mended = girths.copy()
    mended[list(edit.girths)] = list(edit.girths.values())
    return mended


def _off_by(off: Mapping[int, tuple[float, float]], edit: _Edit) -> float:
    return sum(abs(off[i][1]) for i in edit.girths)


def _sum_of_squares(off: Mapping[int, tuple[float, float]]) -> float:
    return sum(z * z for _, z in off.values())


def _edits(girths: Array, untouched: set[int], doubted: set[int]) -> Iterator[_Edit]:
    """Yield the slips that could explain a doubted row."""
    for i in sorted(doubted):
        for girth in _digit_swaps(float(girths[i])):
            yield _Edit("swapped-digits", {i: girth}, "two digits exchanged")
        for factor, how in UNIT_FACTORS.items():
            if SMALLEST_GIRTH_MM <= girths[i] * factor <= LARGEST_GIRTH_MM:
                yield _Edit("unit-slip", {i: float(girths[i] * factor)}, how)
    for i, j in combinations(sorted(untouched), 2):
        if {i, j} & doubted and girths[i] != girths[j]:
            yield _Edit("swapped-rows", {i: float(girths[j]), j: float(girths[i])}, "two rows exchanged")


def _digit_swaps(girth: float) -> Iterator[float]:
    """Yield the girths (mm) that differ by two neighbouring digits exchanged."""
    digits = f"{girth:g}"
    whole = digits.split(".", maxsplit=1)[0]
    for k in range(len(whole) - 1):
        if whole[k] != whole[k + 1]:
            swapped = whole[:k] + whole[k + 1] + whole[k] + digits[k + 2 :]
            if SMALLEST_GIRTH_MM <= float(swapped) <= LARGEST_GIRTH_MM:
                yield float(swapped)


def _least_supported(
    heights: Array, girths: Array, used: Sequence[int], expected: Expected, untouched: set[int]
) -> int:
    """Return the row without which the others agree best: one bad row makes its neighbours look bad too."""

    def left_over(index: int) -> float:
        others = [i for i in used if i != index]
        return _sum_of_squares(_misfit(heights, girths, others, expected))

    return min(untouched - expected.keys(), key=left_over)


def _proposal(
    rows: Sequence[TapeRow],
    edit: _Edit,
    after: Expected,
    expected: Expected,
) -> TapeAdvice:
    concerned = tuple(rows[i] for i in edit.girths)
    likely = tuple(replace(rows[i], girth_mm=round(girth, 1)) for i, girth in edit.girths.items())
    distance = sum(abs(rows[i].girth_mm - after[i][0]) for i in edit.girths)
    left = sum(abs(girth - after[i][0]) for i, girth in edit.girths.items())
    # nearer than the tape can be read is not better still
    ratio = distance / max(left, 1.0)
    teller = "The photographs" if all(i in expected for i in edit.girths) else "The neighbouring rows"
    what = " ".join(
        f"{teller} say about {after[i][0]:.0f} mm where {named(row)} reads {row.girth_mm:g} mm."
        for i, row in zip(edit.girths, concerned, strict=True)
    )
    meant = " and ".join(f"{row.girth_mm:g} mm" for row in likely)
    text = (
        f"{what} Likely {edit.how}: {meant} would fit {ratio:.0f} times better."
        " Check the tape or the note; nothing was changed."
    )
    return TapeAdvice(edit.code, text, concerned, likely, ratio)


def _check_row(row: TapeRow, expected_mm: float, by_photographs: bool) -> TapeAdvice:
    teller = "the photographs" if by_photographs else "the neighbouring rows"
    text = (
        f"{sentence(named(row))} reads {row.girth_mm:g} mm where {teller} say about {expected_mm:.0f} mm."
        " Measure it again, or check the outline there."
    )
    return TapeAdvice("check-row", text, (row,))


def named(row: TapeRow) -> str:
    """Return the row's place for the middle of a sentence."""
    place = f"the row at height {row.height_mm:g} mm"
    return f"{place} (line {row.line})" if row.line else place


def sentence(text: str) -> str:
    """Return the text with a capital letter first."""
    return text[:1].upper() + text[1:]
