"""What a therapist reads of a wrap: plain text for a terminal."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from digitise.output.plain_text import page, section
from digitise.output.wrap.form import GarmentForm, NeedForm, WrapForm
from digitise.tape.places import is_length

_STEP_MM = 100.0


def wrap_text(summary: WrapForm, folder: str | Path) -> str:
    """Return layers, rolls, pressure, warnings, girth list, files and the caution as lines of plain text."""
    plan = "a suggestion to edit" if summary.suggested else "the plan given"
    rolls = (f"{roll.kind} {roll.width_mm:.0f} mm: {roll.rolls}" for roll in summary.rolls)
    plan_rolls = summary.plan
    length = (
        f"{plan_rolls.roll_length_mm / 1000:g} m {plan_rolls.roll_measured} (bandage) and "
        f"{plan_rolls.padding_roll_length_mm / 1000:g} m (padding)"
    )
    needs = [_need(number, need) for number, need in enumerate(summary.needs, start=1)]
    files = [
        "plan.toml: the plan; change any number and give it back with --plan",
        "layers.png: each layer on the limb, turn by turn",
        "pressure.png, pressure.csv: relative pressure along the limb",
        "home-card.pdf: for the client to take home",
        "wrap.json, wrap.csv: all figures",
    ]
    return page(
        section("Before any wrap", summary.safety),
        section(f"{summary.side.capitalize()} {summary.limb}, wrap from the skin outward ({plan})", needs),
        section(f"Rolls of {length}", (", ".join(rolls),)),
        section("Relative pressure (mean by Laplace, an estimate)", (_pressure(summary),)),
        section("Warnings", (warning.text for warning in summary.warnings)),
        section("How far to trust it", summary.notes),
        "" if summary.garment is None else _garment(summary.garment),
        section(f"Files in {folder}", files),
        section("Caution", summary.caution),
    )


def _need(number: int, need: NeedForm) -> str:
    name = f"{need.name}, " if need.name else ""
    pull = "no pull" if need.extension == "none" else f"{need.extension} pull"
    rolls = f"{need.rolls} roll{'' if need.rolls == 1 else 's'}"
    low = f"{need.from_mm / 10:.0f}"
    if need.from_toes or need.from_knuckles:
        low = "toes" if need.from_toes else "knuckles"
    heel = ", close the heel" if need.from_toes else ""
    return (
        f"{number}. {name}{need.width_mm / 10:.0f} cm wide: begin {need.begins}{heel}, end {need.ends} "
        f"({low} to {need.to_mm / 10:.0f} cm); {need.turns:.0f} turns, "
        f"overlap {need.overlap}, {pull}; {need.stretched_mm / 1000:.1f} m on the limb, {rolls}"
    )


def _pressure(summary: WrapForm) -> str:
    shown = []
    next_height = summary.profile[0].height_mm
    for height in summary.profile:
        if height.height_mm >= next_height - 1e-6:
            shown.append(f"{height.relative_pressure:.2f} at {height.height_mm:.0f} mm")
            next_height = _STEP_MM * (height.height_mm // _STEP_MM + 1)
    return ", ".join(shown)


def _garment(garment: GarmentForm) -> str:
    return section("Girths for a garment", (*_points(garment), *garment.notes))


def _points(garment: GarmentForm) -> Iterator[str]:
    for point in garment.points:
        low, high = point.girth_mm_95
        note = f"; {point.note}" if point.note else ""
        yield (
            f"{point.letter}, {point.place}: girth {point.girth_mm:.0f} mm "
            f"(95 % interval {low:.0f} to {high:.0f}) at {point.height_mm:.0f} mm{note}"
        )
    for taped in garment.taped:
        note = f"; {taped.note}" if taped.note else ""
        what = "" if is_length(taped.name) else "girth "
        yield f"{taped.place.capitalize()}: {what}{taped.girth_mm:.0f} mm, as taped{note}"
    if garment.missing:
        yield f"Not on the measured segment, take with a tape: {', '.join(garment.missing)}"
