"""Values become words and rows of tables; no Streamlit here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from digitise.capture.checks.finding import Finding
from digitise.errors import DigitiseError
from digitise.output.model.form import ModelForm
from digitise.shape.limb import Estimate
from digitise.shape.taped import TapeCheck
from digitise.tape.advice import explain_tape
from digitise.tape.points import Limb as LimbName
from digitise.tape.rows import TapeRow
from digitise.tape.table import tape_from_csv
from ui import text

TypedRow = tuple[float | None, float | None]

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
        low=millilitres(low),
        high=millilitres(high),
        bottom=summary.from_mm / 10,
        top=summary.to_mm / 10,
        along=text.ALONG[summary.limb],
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
