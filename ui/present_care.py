"""Changes, places to pad, wraps and girth lists become words and rows of tables; no Streamlit here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import tomli_w

from digitise.anatomy import LimbKind
from digitise.care.change.compare import ChangeVerdict, VolumeChange
from digitise.care.course.course import Course, CoursePoint
from digitise.care.padding.foot.places import FootPlace
from digitise.care.padding.region import Region
from digitise.care.padding.regions import ADVICE
from digitise.care.wrap.garment import GirthList
from digitise.care.wrap.plan import Plan, plan_from_toml
from digitise.care.wrap.sheet import WrapSheet
from digitise.output.change.form import VERDICTS
from digitise.record.values import VisitLine
from digitise.shape.limb import Estimate
from digitise.words import shown
from digitise.words.numbers import long_day, numbers
from digitise.workflow.both.beside import BothLimbs
from ui.lengths import Unit
from ui.plain import plain
from ui.present import millilitres
from ui.spoken import text
from ui.tables import heads_in, table

CUP_ML = 250.0
# the column of the editable table that nobody sees: which layer of the plan a row is; a new row has none
LAYER_NUMBER = "#"


def signed_ml(value: float) -> str:
    """Return a change of volume with its sign."""
    return ("+" if value > 0 else "−" if value < 0 else "") + millilitres(abs(value))


def change_sentence(change: VolumeChange) -> str:
    """Return a change of volume as a sentence."""
    low, high = change.change_ml.interval_95
    percent = numbers(f"{float(change.percent.mean):+.1f}").replace("-", "−")
    return text.CHANGE_SENTENCE.format(
        verdict=shown(VERDICTS[change.verdict]),
        value=signed_ml(float(change.change_ml.mean)),
        percent=percent,
        low=signed_ml(float(low)),
        high=signed_ml(float(high)),
    )


def change_rows(parts: Sequence[VolumeChange], unit: Unit) -> list[dict[str, str]]:
    """Return the table of changes by segment."""
    return table(heads_in(unit, text.CHANGE_COLUMNS), (_change_row(part, unit) for part in parts))


def _change_row(part: VolumeChange, unit: Unit) -> tuple[str, ...]:
    low, high = part.change_ml.interval_95
    return (
        shown(part.segment.name),
        text.RANGE.format(unit.number(part.segment.low, 0), unit.number(part.segment.high, 0)),
        signed_ml(float(part.change_ml.mean)),
        text.RANGE.format(signed_ml(float(low)), signed_ml(float(high))),
        shown(VERDICTS[part.verdict]),
    )


def since_start(days: float) -> str:
    """Return how long after the first visit another was, for people who do not need dates."""
    weeks = round(days / 7)
    if days < 1:
        return text.TEACH_START
    if weeks == 0:
        return text.TEACH_AFTER_DAYS.format(round(days))
    return text.TEACH_AFTER_ONE if weeks == 1 else text.TEACH_AFTER.format(weeks)


def plain_change(change: VolumeChange | None) -> str:
    """Return a change in words for people without training; a cup is 250 mL."""
    if change is None:
        return text.TEACH_WORDS_START
    if change.verdict is ChangeVerdict.UNCLEAR:
        return text.TEACH_WORDS_SAME
    cups = round(abs(float(change.change_ml.mean)) / CUP_ML)
    amount = text.TEACH_LITTLE if cups == 0 else text.TEACH_CUP if cups == 1 else text.TEACH_CUPS.format(cups)
    words = text.TEACH_WORDS_LESS if change.verdict is ChangeVerdict.SMALLER else text.TEACH_WORDS_MORE
    return words.format(amount)


def against_words(line: VisitLine, mirrored: bool) -> str:
    """Return what another visit is to the limb that is held against it."""
    day = long_day(line.taken)
    if not mirrored:
        return text.PADDING_EARLIER.format(day)
    return text.PADDING_OTHER.format(shown(line.side), day)


def region_line(number: int, region: Region | FootPlace, foam: tuple[int, ...] | str, unit: Unit) -> str:
    """Return a place to look at as one line of Markdown; ``foam`` as in :class:`Foam`'s ``of_place``."""
    advice = ADVICE[region.kind]
    pieces = "" if isinstance(foam, str) else text.REGION_FOAM.format(", ".join(map(str, foam)))
    return text.REGION_LINE.format(
        number=number,
        kind=text.KINDS[region.kind],
        place=plain(unit.sentence(region.place)),
        why=plain(unit.sentence(region.why)),
        advice=unit.sentence(advice[0].upper() + advice[1:]),
        confidence=text.SURE[region.confidence],
        foam=pieces,
    )


def volume_with_half(volume: Estimate[float]) -> str:
    """Return a volume with its half-interval."""
    low, high = volume.interval_95
    return f"{millilitres(volume.mean)} ± {millilitres((high - low) / 2)} mL"


def both_sentence(found: BothLimbs, limb: LimbKind) -> str:
    """Return how two limbs of one visit differ."""
    over = found.excess
    low, high = (signed_ml(float(end)) for end in over.excess_ml.interval_95)
    names = {"larger": shown(f"{found.larger} {limb}"), "smaller": shown(f"{found.smaller} {limb}")}
    if not found.is_clear:
        return text.BOTH_SAME.format(low=low, high=high, **names)
    percent = (
        "" if over.percent is None else text.BOTH_PERCENT.format(numbers(f"{float(over.percent.mean):.1f}"))
    )
    value = millilitres(float(over.excess_ml.mean))
    return text.BOTH_MORE.format(value=value, percent=percent, low=low, high=high, **names)


def course_rows(followed: Course) -> list[dict[str, str]]:
    """Return the volumes of the visits, with the other limb's and the excess where it was measured."""
    # columns of the other limb only where it was measured
    several = any(point.visit.reference is not None for point in followed.points)
    count = 5 if several else 3
    return table(text.COURSE_COLUMNS[:count], (_course_row(point)[:count] for point in followed.points))


def _course_row(point: CoursePoint) -> tuple[str, ...]:
    visit, over = point.visit, point.excess
    low, high = (millilitres(float(end)) for end in visit.volume.interval_95)
    other = "–" if visit.reference is None else millilitres(float(visit.reference.mean))
    more = "–" if over is None else signed_ml(float(over.excess_ml.mean))
    day = long_day(visit.taken.astimezone())
    return day, millilitres(float(visit.volume.mean)), text.BETWEEN.format(low, high), other, more


def pressure_rows(sheet: WrapSheet, unit: Unit) -> list[dict[str, str]]:
    """Return the estimated pressure along the limb, every 5 cm or every 2.5 inches."""
    step = 10 * unit.step * unit.mm
    heights = step * np.arange(np.ceil(sheet.z[0] / step), np.floor(sheet.z[-1] / step) + 1)
    values = np.interp(heights, sheet.z, sheet.estimate_mmhg)
    rows = ((unit.number(z), f"{value:.0f}") for z, value in zip(heights, values, strict=True))
    return table(heads_in(unit, text.WRAP_PRESSURES), rows)


def wrap_columns(unit: Unit) -> tuple[str, ...]:
    """Return the heads of the editable table of a plan."""
    return heads_in(unit, text.WRAP_COLUMNS)


def plan_rows(plan: Plan, unit: Unit) -> list[dict[str, object]]:
    """Return a plan as rows of an editable table: lengths, percent, and which layer it is."""
    rows: list[tuple[object, ...]] = [
        (
            layer.name,
            round(unit.of(layer.width_mm), 1),
            round(unit.of(layer.from_mm), 1),
            round(unit.of(layer.to_mm), 1),
            round(100 * layer.overlap),
            round(100 * layer.stretch),
            layer.tension_n,
            number,
        )
        for number, layer in enumerate(plan.layers)
    ]
    return table((*wrap_columns(unit), LAYER_NUMBER), rows)


def edited_plan(
    plan: Plan, rows: Sequence[Mapping[str, object]], rolls_m: tuple[float, float], unit: Unit
) -> Plan:
    """Return the plan that an edited table says; a new row is a bandage, and empty cells keep their default.

    ``rolls_m`` are the lengths of a roll of bandage and of padding.  What the table does not show stays as
    the plan has it, also of a layer whose neighbours were taken out.

    Raises
    ------
    PlanError
        A number is missing or out of range.
    """
    content = plan.model_dump(exclude_none=True)
    bandage, padding = (round(length * 1000, 1) for length in rolls_m)
    content |= {"roll_length_mm": bandage, "padding_roll_length_mm": padding}
    content["layers"] = [_layer(plan, row, unit) for row in rows]
    return plan_from_toml(tomli_w.dumps(content).encode(), text.WRAP)


def _layer(plan: Plan, row: Mapping[str, object], unit: Unit) -> dict[str, object]:
    """Return a layer as a plan.toml has it; an untouched cell keeps the number of the plan."""
    columns, mm = wrap_columns(unit), unit.mm
    names = ("width_mm", "from_mm", "to_mm", "overlap", "stretch", "tension_n")
    number = _number(row.get(LAYER_NUMBER))
    known = {} if number is None else plan.layers[int(number)].model_dump(exclude_none=True)
    before = {} if number is None else plan_rows(plan, unit)[int(number)]
    told: dict[str, object] = {"name": str(row.get(columns[0]) or "")}
    for name, column, factor in zip(names, columns[1:], (mm, mm, mm, 0.01, 0.01, 1.0), strict=True):
        cell = _number(row.get(column))
        if cell is not None:
            # the table rounds; read back, its numbers would be others in each unit
            told[name] = known[name] if cell == before.get(column) else round(cell * factor, 6)
    return {**{name: value for name, value in known.items() if name not in names}, **told}


def _number(cell: object) -> float | None:
    """Return the number in a cell of an edited table; None where it is empty."""
    return float(cell) if isinstance(cell, int | float) and not math.isnan(cell) else None


def needs_rows(sheet: WrapSheet) -> list[dict[str, str]]:
    """Return what each layer takes."""
    rows = (
        (
            shown(need.layer.name),
            numbers(f"{need.turns:.1f}"),
            numbers(f"{need.stretched_mm / 1000:.1f}"),
            str(need.rolls),
        )
        for need in sheet.needs
    )
    return table(text.WRAP_NEEDS, rows)


def rolls_words(sheet: WrapSheet, unit: Unit) -> str:
    """Return the rolls to take."""
    each = [
        text.WRAP_ROLL_WORDS[kind].format(count=count, width=unit.words(width, 0))
        for kind, width, count in sheet.rolls
    ]
    return text.WRAP_ROLLS.format(", ".join(each))


def garment_rows(girths: GirthList, unit: Unit) -> list[dict[str, str]]:
    """Return the girth list as a table."""
    rows = (
        (
            entry.letter,
            shown(entry.place),
            unit.number(entry.height_mm),
            unit.number(entry.girth_mm),
            text.BETWEEN.format(*(unit.number(end) for end in entry.girth_95)),
        )
        for entry in girths.entries
    )
    return table(heads_in(unit, text.GARMENT_COLUMNS), rows)
