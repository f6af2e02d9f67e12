"""Advice on a tape table that was read: likely slips named, never a value changed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from digitise.anatomy import LimbKind
from digitise.tape.entry_errors import (
    DOUBTED_SD,
    FITS_SD,
    TAPE_SD_MM,
    UNIT_FACTORS,
    Expected,
    doubted_rows,
    named,
    sentence,
)
from digitise.tape.points import ADULT_GIRTHS_MM, ADULT_RANGE_MM, girth_points
from digitise.tape.rows import Code, TapeAdvice, TapeRow
from digitise.tape.table import LARGEST_GIRTH_MM, SMALLEST_GIRTH_MM

_STEEPEST_PER_40_MM = 0.35
_LARGEST_CM_ON_A_LIMB = 150.0
_CLOSEST_TAPED_MM = 30.0
_PRINT_SCALE = 0.06
"""The largest scale error that a printer's "fit to page" makes."""


def explain_tape(
    rows: Sequence[TapeRow],
    predicted: Mapping[float, tuple[float, float]] | None = None,
    limb: LimbKind = LimbKind.LEG,
) -> tuple[TapeAdvice, ...]:
    """Return remarks on rows (lowest first) that look like slips of the pen, the tape or the unit.

    Parameters
    ----------
    rows
        As :func:`digitise.tape.table.read_tape` returns them.
    predicted
        Per height in mm (girth mm, sd mm) as the photographs alone tell it; may cover some rows only.
    limb
        Whose adult girths to compare with.
    """
    whole = _misread_table(rows)
    if whole is not None:
        return (whole,)
    expected = {i: told for i, row in enumerate(rows) if (told := _told(predicted, row.height_mm))}
    common = _common_ratio(rows, expected)
    remarks = [] if common == 1.0 else [_ratio_remark(rows, common)]
    remarks += doubted_rows(rows, {i: (girth * common, sd * common) for i, (girth, sd) in expected.items()})
    if any(remark.code == "unit-slip-all" for remark in remarks):
        return tuple(remarks)
    spoken_of = {row for remark in remarks for row in remark.rows if remark.code != "ratio-all"}
    soft = [*_steep_steps(rows), *_unusual(rows, limb)]
    return tuple(remarks + [remark for remark in soft if not spoken_of & set(remark.rows)])


def _told(predicted: Mapping[float, tuple[float, float]] | None, height: float) -> tuple[float, float] | None:
    # half a millimetre: heights that went through a file or a grid are the same height
    near = [told for at, told in (predicted or {}).items() if abs(at - height) < 0.5]
    return near[0] if near else None


# ---- against the photographs ----------------------------------------------------------------------


def _common_ratio(rows: Sequence[TapeRow], expected: Expected) -> float:
    """Return the ratio tape / photographs that the rows share; 1 when they share none or too few tell."""
    if len(expected) < 3:
        return 1.0
    logs = np.array([math.log(rows[i].girth_mm / girth) for i, (girth, _) in expected.items()])
    sds = np.array([math.hypot(sd, TAPE_SD_MM) / girth for girth, sd in expected.values()])
    common, sd = float(np.median(logs)), float(np.median(sds))
    agree = float(np.median(np.abs(logs - common))) <= FITS_SD * sd
    # 1.25: a median is that much less exact than a mean
    sure = abs(common) > DOUBTED_SD * 1.25 * sd / math.sqrt(len(logs))
    return math.exp(common) if agree and sure else 1.0


def _ratio_remark(rows: Sequence[TapeRow], ratio: float) -> TapeAdvice:
    for factor, how in UNIT_FACTORS.items():
        if abs(math.log(ratio * factor)) < _PRINT_SCALE:
            likely = tuple(replace(row, girth_mm=round(row.girth_mm * factor, 1)) for row in rows)
            better = abs(ratio - 1) / max(abs(ratio * factor - 1), 0.01)
            text = (
                f"All girths are {ratio:.3g} times what the photographs say. Likely {how}: corrected, they"
                f" would fit {better:.0f} times better. Check the unit in the header; nothing was changed."
            )
            return TapeAdvice("unit-slip-all", text, tuple(rows), likely, better)
    text = (
        f"All girths are {abs(ratio - 1):.1%} {'larger' if ratio > 1 else 'smaller'} than the photographs"
        " say. Check with a ruler whether the sheets were printed at 100 %, and whether the tape is sound."
    )
    return TapeAdvice("ratio-all", text, tuple(rows))


# ---- the table as a whole -------------------------------------------------------------------------


def _misread_table(rows: Sequence[TapeRow]) -> TapeAdvice | None:
    """Tell when columns are exchanged or heights are in another unit.

    Doubted when the girth changes faster than on any limb: on most steps for exchanged columns (one bad
    row makes two steps steep), on any step for heights that stand closer than a limb is taped.  The other
    reading is named when it has no such step.
    """
    steep = [step > _STEEPEST_PER_40_MM for step in _steps(rows)]
    if len(rows) < 3 or not any(steep):
        return None
    exchanged = [replace(row, height_mm=row.girth_mm, girth_mm=row.height_mm) for row in rows]
    if 2 * sum(steep) > len(steep) and _typed_in_order_of_girth(rows) and _is_limb(exchanged):
        return _table_remark(
            "swapped-columns", "heights and girths are in each other's column", rows, exchanged
        )
    in_cm = [replace(row, height_mm=row.height_mm * 10) for row in rows]
    close = float(np.median(np.diff([row.height_mm for row in rows]))) < _CLOSEST_TAPED_MM
    if close and rows[-1].height_mm <= _LARGEST_CM_ON_A_LIMB and _is_limb(in_cm):
        return _table_remark("height-unit", "the heights are centimetres written as millimetres", rows, in_cm)
    return None


def _table_remark(code: Code, what: str, rows: Sequence[TapeRow], likely: Sequence[TapeRow]) -> TapeAdvice:
    now, then = max(_steps(rows)), max(_steps(likely))
    text = (
        f"Likely {what}: as they stand the girth changes by up to {now:.0%} per 40 mm, read so by {then:.0%}."
        " Check the header; nothing was changed."
    )
    return TapeAdvice(code, text, tuple(rows), tuple(likely), now / max(then, 0.01))


def _is_limb(rows: Sequence[TapeRow]) -> bool:
    """Tell whether the rows have different heights, possible girths and no steep step."""
    return (
        len({row.height_mm for row in rows}) == len(rows)
        and all(SMALLEST_GIRTH_MM <= row.girth_mm <= LARGEST_GIRTH_MM for row in rows)
        and max(_steps(rows)) <= _STEEPEST_PER_40_MM
    )


def _typed_in_order_of_girth(rows: Sequence[TapeRow]) -> bool:
    """Tell whether the girths run one way in the order typed, as heights do; an unknown order counts."""
    if any(row.line == row.typed == 0 for row in rows):
        return True
    steps = np.diff([row.girth_mm for row in sorted(rows, key=lambda row: (row.line, row.typed))])
    return bool(np.all(steps > 0) or np.all(steps < 0))


def _steps(rows: Sequence[TapeRow]) -> list[float]:
    """Relative change of girth per 40 mm from row to row."""
    return [_steepness(low, high) for low, high in pairwise(sorted(rows, key=lambda row: row.height_mm))]


def _steepness(low: TapeRow, high: TapeRow) -> float:
    step = abs(math.log(high.girth_mm / low.girth_mm)) * 40.0 / (high.height_mm - low.height_mm)
    return math.expm1(min(step, 50.0))


# ---- soft notes -----------------------------------------------------------------------------------


def _steep_steps(rows: Sequence[TapeRow]) -> Iterator[TapeAdvice]:
    for low, high in pairwise(rows):
        change = _steepness(low, high)
        if change > _STEEPEST_PER_40_MM:
            text = (
                f"Between {named(low)} and {named(high)} the girth goes from {low.girth_mm:g} to"
                f" {high.girth_mm:g} mm, which is {change:.0%} per 40 mm; more than"
                f" {_STEEPEST_PER_40_MM:.0%} is rare. Measure both again."
            )
            yield TapeAdvice("steep-step", text, (low, high))


def _unusual(rows: Sequence[TapeRow], limb: LimbKind) -> Iterator[TapeAdvice]:
    bodies = {point.letter: point.body for point in girth_points(limb)}
    for row in rows:
        body = bodies.get(row.point, "")
        low, high = ADULT_GIRTHS_MM[body] if body else ADULT_RANGE_MM[limb]
        if not low <= row.girth_mm <= high:
            text = (
                f"{sentence(named(row))} reads {row.girth_mm:g} mm; {body or limb} girths of 507 active"
                f" adults ran from {low:g} to {high:g} mm. Swollen limbs can exceed that; check the unit."
            )
            yield TapeAdvice("unusual-girth", text, (row,))
