"""Values become words and rows of tables; no Streamlit here."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from digitise.capture.finding import Finding
from digitise.care.change import NO_CLEAR_CHANGE, SMALLER, VolumeChange
from digitise.care.garment import GirthList
from digitise.care.plan import Plan, plan_from_toml
from digitise.care.regions import ADVICE, Region
from digitise.care.wrap import WrapSheet
from digitise.errors import DigitiseError
from digitise.output.model_form import ModelForm
from digitise.shape.limb import Estimate
from digitise.shape.taped import TapeCheck
from digitise.tape.advice import explain_tape
from digitise.tape.points import Limb as LimbName
from digitise.tape.rows import TapeRow
from digitise.tape.table import tape_from_csv
from ui import text

TypedRow = tuple[float | None, float | None]

CUP_ML = 250.0
_FIRST_LINE = 2
_WORST = {"note": 0, "warning": 1, "refuse": 2}


@dataclass(frozen=True)
class TypedTape:
    """Typed rows, read.

    Attributes
    ----------
    rows
        Those that can be used, lowest first.
    trouble
        By index of a typed row, why it cannot be used.
    """

    rows: tuple[TapeRow, ...]
    trouble: Mapping[int, str]


def read_typed(typed: Sequence[TypedRow], unit: str) -> TypedTape:
    """Read typed rows as a tape.csv would be read, so that the page and the command line agree.

    Parameters
    ----------
    typed
        (height, girth) per row, None where nothing was typed.
    unit
        ``cm`` or ``mm``.
    """
    header = f"height_{unit},girth_{unit}"
    lines, trouble = [header], dict[int, str]()
    for index, (height, girth) in enumerate(typed):
        line = "" if height is None or girth is None else f"{height:.10g},{girth:.10g}"
        if (height is None) != (girth is None):
            trouble[index] = text.ROW_GIRTH_MISSING if girth is None else text.ROW_HEIGHT_MISSING
        if line:
            words = _refusal("\n".join([header, *[""] * index, line]))
            if words:
                trouble[index], line = words, ""
        lines.append(line)
    while words := _refusal("\n".join(lines)):
        again = _doubled(typed, lines)
        if again is None:
            break
        trouble[again] = words
        lines[again + 1] = ""
    usable = any(lines[1:])
    return TypedTape(tape_from_csv("\n".join(lines)) if usable else (), trouble)


def _refusal(table: str) -> str:
    try:
        tape_from_csv(table, at_least=0)
    except DigitiseError as error:
        return f"{error.what} {error.do}".strip()
    return ""


def _doubled(typed: Sequence[TypedRow], lines: Sequence[str]) -> int | None:
    """Return the last row whose height stands above already."""
    seen: dict[float | None, int] = {}
    last = None
    for index, (height, _) in enumerate(typed):
        if lines[index + 1]:
            last = index if height in seen else last
            seen[height] = index
    return last


def converted(typed: Sequence[TypedRow], unit: str, wanted: str) -> tuple[TypedRow, ...]:
    """Return rows typed in one unit as they read in the other."""
    factor = 1.0 if unit == wanted else (10.0 if wanted == "mm" else 0.1)
    return tuple(
        tuple(None if value is None else round(value * factor, 3) for value in row)  # type: ignore[misc]
        for row in typed
    )


@dataclass(frozen=True)
class RowWords:
    """What stands beside a tape row: a sign and words."""

    sign: str
    words: str


def row_words(tape: TypedTape, checks: Sequence[TapeCheck], unit: str, count: int) -> list[RowWords]:
    """Return what stands beside each of ``count`` typed rows."""
    by_index = {check.row.line - _FIRST_LINE: check for check in checks}
    return [_row_words(index, tape, by_index.get(index), unit) for index in range(count)]


def _row_words(index: int, tape: TypedTape, check: TapeCheck | None, unit: str) -> RowWords:
    if index in tape.trouble:
        return RowWords("!", tape.trouble[index])
    if check is None:
        return RowWords("", "")
    if check.verdict == "not seen":
        return RowWords("–", text.VERDICT["not seen"])
    difference = f"{abs(check.difference_mm) / (10 if unit == 'cm' else 1):.1f}"
    more = text.TAPE_MORE if check.difference_mm >= 0 else text.TAPE_LESS
    words = text.VERDICT[check.verdict].format(more.format(difference, unit))
    return RowWords(text.VERDICT_SIGN[check.verdict], words)


def tape_advice(tape: TypedTape, checks: Sequence[TapeCheck], limb: LimbName) -> tuple[str, ...]:
    """Return remarks on the rows as a whole, such as a likely slip of the pen."""
    predicted = {
        check.row.height_mm: (check.photo_mm, check.photo_sd_mm)
        for check in checks
        if check.verdict != "not seen"
    }
    return (
        tuple(advice.text for advice in explain_tape(tape.rows, predicted or None, limb)) if tape.rows else ()
    )


def millilitres(value: float) -> str:
    """Return a volume to the millilitre with thin spaces."""
    return f"{value:,.0f}".replace(",", "\u202f")


def volume_words(summary: ModelForm) -> tuple[str, str]:
    """Return the volume with its half-interval, and a sentence about it."""
    low, high = summary.volume_ml_95
    value = f"{millilitres(summary.volume_ml)} ± {millilitres((high - low) / 2)} mL"
    sentence = text.VOLUME_SENTENCE.format(
        low=millilitres(low), high=millilitres(high), bottom=summary.from_mm / 10, top=summary.to_mm / 10
    )
    return value, sentence


def cone_words(summary: ModelForm) -> str:
    """Return the sum of cones with its note."""
    if summary.cone_volume_ml is None:
        return summary.cone_note
    return text.CONES.format(millilitres(summary.cone_volume_ml), summary.cone_note)


def section_words(height_mm: float, girth: Estimate) -> str:
    """Return the girth of one section in words."""
    low, high = girth.interval_95
    return text.SECTION_SENTENCE.format(
        height=height_mm / 10,
        girth=float(girth.mean[0]) / 10,
        low=float(low[0]) / 10,
        high=float(high[0]) / 10,
    )


def worst(findings: Sequence[Finding]) -> str:
    """Return the gravest severity among findings; ``note`` when there is none."""
    return max((finding.severity for finding in findings), key=_WORST.__getitem__, default="note")


def finding_lines(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what needs doing, gravest first; notes are left out."""
    grave = [finding for finding in findings if finding.severity != "note"]
    grave.sort(key=lambda finding: -_WORST[finding.severity])
    return tuple(f"{finding.text} **{finding.do}**" if finding.do else finding.text for finding in grave)


def notes_line(findings: Sequence[Finding]) -> str:
    """Return what is as it should be, in one line."""
    return " ".join(finding.text for finding in findings if finding.severity == "note")


def signed_ml(value: float) -> str:
    """Return a change of volume with its sign."""
    return ("+" if value > 0 else "−" if value < 0 else "") + millilitres(abs(value))


def change_sentence(change: VolumeChange) -> str:
    """Return a change of volume as a sentence."""
    low, high = change.change_ml.interval_95
    percent = f"{float(change.percent.mean):+.1f}".replace("-", "−")
    return text.CHANGE_SENTENCE.format(
        verdict=text.VERDICTS[change.verdict],
        value=signed_ml(float(change.change_ml.mean)),
        percent=percent,
        low=signed_ml(float(low)),
        high=signed_ml(float(high)),
    )


def change_rows(parts: Sequence[VolumeChange]) -> list[dict[str, str]]:
    """Return the table of changes by stretch."""
    return [dict(zip(text.CHANGE_COLUMNS, _change_row(part), strict=True)) for part in parts]


def _change_row(part: VolumeChange) -> tuple[str, ...]:
    low, high = part.change_ml.interval_95
    return (
        part.stretch.name,
        f"{part.stretch.low / 10:.0f} to {part.stretch.high / 10:.0f}",
        signed_ml(float(part.change_ml.mean)),
        f"{signed_ml(float(low))} to {signed_ml(float(high))}",
        text.VERDICTS[part.verdict],
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
    if change.verdict == NO_CLEAR_CHANGE:
        return text.TEACH_WORDS_SAME
    cups = round(abs(float(change.change_ml.mean)) / CUP_ML)
    amount = text.TEACH_LITTLE if cups == 0 else text.TEACH_CUP if cups == 1 else text.TEACH_CUPS.format(cups)
    words = text.TEACH_WORDS_LESS if change.verdict == SMALLER else text.TEACH_WORDS_MORE
    return words.format(amount)


def region_line(number: int, region: Region) -> str:
    """Return a place to look at as one line of Markdown."""
    return text.REGION_LINE.format(
        number=number,
        kind=text.KINDS[region.kind],
        place=region.place,
        why=region.why,
        advice=ADVICE[region.kind],
        confidence=text.SURE[region.confidence],
    )


def plan_rows(plan: Plan) -> list[dict[str, object]]:
    """Return a plan as rows of an editable table: cm and percent."""
    return [
        dict(
            zip(
                text.WRAP_COLUMNS,
                (
                    layer.name,
                    layer.width_mm / 10,
                    layer.from_mm / 10,
                    layer.to_mm / 10,
                    round(100 * layer.overlap),
                    round(100 * layer.stretch),
                    layer.tension_n,
                ),
                strict=True,
            )
        )
        for layer in plan.layers
    ]


def edited_plan(plan: Plan, rows: Sequence[Mapping[str, object]], roll_m: float) -> Plan:
    """Return the plan that an edited table says; a new row is a bandage, and empty cells keep their default.

    Raises
    ------
    PlanError
        A number is missing or out of range.
    """
    layers = [_layer_toml(plan, index, row) for index, row in enumerate(rows)]
    words = "\n".join([f"roll_length_mm = {roll_m * 1000:.1f}", f"note = {json.dumps(plan.note)}", *layers])
    return plan_from_toml(words.encode(), text.WRAP)


def _layer_toml(plan: Plan, index: int, row: Mapping[str, object]) -> str:
    factors = (("width_mm", 10.0), ("from_mm", 10.0), ("to_mm", 10.0), ("overlap", 0.01), ("stretch", 0.01))
    lines = ["[[layers]]", f"name = {json.dumps(str(row.get(text.WRAP_COLUMNS[0]) or ''))}"]
    for (name, factor), column in zip((*factors, ("tension_n", 1.0)), text.WRAP_COLUMNS[1:], strict=True):
        value = row.get(column)
        if isinstance(value, int | float) and not math.isnan(value):
            lines.append(f"{name} = {value * factor:.6f}")
    if index < len(plan.layers):
        before = plan.layers[index]
        lines += [f'kind = "{before.kind}"', f"thickness_mm = {before.thickness_mm}"]
    return "\n".join(lines)


def needs_rows(sheet: WrapSheet) -> list[dict[str, str]]:
    """Return what each layer takes."""
    return [
        dict(
            zip(
                text.WRAP_NEEDS,
                (need.layer.name, f"{need.turns:.1f}", f"{need.stretched_mm / 1000:.1f}", str(need.rolls)),
                strict=True,
            )
        )
        for need in sheet.needs
    ]


def rolls_words(sheet: WrapSheet) -> str:
    """Return the rolls to take."""
    each = [text.WRAP_ROLL_WORDS.format(count=count, width=width / 10) for width, count in sheet.rolls]
    return text.WRAP_ROLLS.format(", ".join(each))


def garment_rows(girths: GirthList) -> list[dict[str, str]]:
    """Return the girth list as a table."""
    return [
        dict(
            zip(
                text.GARMENT_COLUMNS,
                (
                    entry.letter,
                    entry.place,
                    f"{entry.height_mm / 10:.1f}",
                    f"{entry.girth_mm / 10:.1f}",
                    f"{entry.girth_95[0] / 10:.1f} and {entry.girth_95[1] / 10:.1f}",
                ),
                strict=True,
            )
        )
        for entry in girths.entries
    ]
