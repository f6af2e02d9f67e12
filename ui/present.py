"""Values become words and rows of tables; no Streamlit here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from digitise.anatomy import LimbKind, Side
from digitise.capture.checks.finding import Finding
from digitise.geometry.rigid import Array
from digitise.output.forms import WarningForm
from digitise.output.model.form import ModelForm
from digitise.output.model.measured import Measured
from digitise.output.model.segments import segment_girths
from digitise.output.model.words import taped_end_words
from digitise.record.history.values import HistoryLine
from digitise.record.values import VisitLine
from digitise.shape.limb import Estimate, Limb, girth
from digitise.shape.taped import TapeCheck
from digitise.tape.advice import explain_tape
from digitise.tape.places import place_words
from digitise.tape.rows import TapeAdvice, TapeRow
from digitise.words import shown
from digitise.words.numbers import moment
from ui.lengths import Unit
from ui.plain import plain
from ui.spoken import text
from ui.tables import heads_in, table
from ui.typed import TypedTape, index_of

# warnings on a row of the tape or on an edge, which stand beside it while a visit is entered
_TOLD_AT_PLACE = frozenset({"tape-slip", "tape-row", "tape-unseen", "tape-followed", "edge-unsure"})
_WORST = {"note": 0, "warning": 1, "refuse": 2}


@dataclass(frozen=True)
class RowWords:
    """What stands beside a tape row: a sign and words."""

    sign: str
    words: str


def row_words(tape: TypedTape, checks: Sequence[TapeCheck], unit: Unit, count: int) -> list[RowWords]:
    """Return what stands beside each of ``count`` typed rows."""
    by_index = {index_of(check.row): check for check in checks}
    return [_row_words(index, tape, by_index.get(index), unit) for index in range(count)]


def _row_words(index: int, tape: TypedTape, check: TapeCheck | None, unit: Unit) -> RowWords:
    if index in tape.trouble:
        return RowWords("!", tape.trouble[index])
    if check is None:
        return RowWords("", "")
    if check.verdict == "not seen":
        return RowWords("–", text.VERDICT["not seen"])
    more = text.TAPE_MORE if check.difference_mm >= 0 else text.TAPE_LESS
    words = text.VERDICT[check.verdict].format(more.format(unit.words(abs(check.difference_mm))))
    return RowWords(text.VERDICT_SIGN[check.verdict], words)


def tape_advice(tape: TypedTape, checks: Sequence[TapeCheck], limb: LimbKind, unit: Unit) -> tuple[str, ...]:
    """Return remarks on the rows as a whole, such as a likely slip of the pen."""
    predicted = {
        check.row.height_mm: (check.photo_mm, check.photo_sd_mm)
        for check in checks
        if check.verdict != "not seen"
    }
    if not tape.rows:
        return ()
    return tuple(_advice_words(one, unit) for one in explain_tape(tape.rows, predicted or None, limb))


def _advice_words(advice: TapeAdvice, unit: Unit) -> str:
    """Say a remark with the numbers of the rows on the page and in its unit."""
    rows = [text.ADVICE_ROW.format(index_of(row) + 1, unit.words(row.girth_mm)) for row in advice.rows]
    if advice.code in text.ADVICE_ALL:
        return text.ADVICE_ALL[advice.code]
    words = " · ".join(rows) + ". " + text.ADVICE[advice.code]
    if not advice.likely:
        return words
    meant = ", ".join(unit.words(row.girth_mm) for row in advice.likely)
    return f"{words} {text.ADVICE_LIKELY.format(meant, advice.ratio)}"


def not_yet_told(warnings: Sequence[WarningForm], beside: Sequence[Finding]) -> tuple[WarningForm, ...]:
    """Return the warnings that are not said at their place: beside a row, an edge or a photograph."""
    said = {(finding.code, f"{finding.text} {finding.do}".strip()) for finding in beside}
    return tuple(
        warning
        for warning in warnings
        if warning.code not in _TOLD_AT_PLACE
        and not any(warning.code == code and warning.text.endswith(words) for code, words in said)
    )


def ready_words(measured: Measured) -> str:
    """Return what to look at before a limb is saved."""
    limb = measured.fit.limb
    count = sum(len(outline.doubts(limb.from_mm, limb.to_mm)) for outline in measured.outlines)
    suspect = [
        str(index_of(check.row) + 1) for check in measured.fit.tape_checks if check.verdict == "suspect"
    ]
    said = []
    if count:
        said.append(text.STATUS_DOUBT if count == 1 else text.STATUS_DOUBTS.format(count))
    if suspect:
        words = text.STATUS_SUSPECT if len(suspect) == 1 else text.STATUS_SUSPECTS
        said.append(words.format(", ".join(suspect)))
    return " ".join(said) or text.STATUS_READY


def limb_words(side: Side | None, limb: LimbKind | None) -> str:
    """Return a limb's name, such as ``Left leg``; less where side or limb is not known."""
    named = " ".join(word for word in (side, limb) if word)
    return shown(named[:1].upper() + named[1:])


def millilitres(value: float) -> str:
    """Return a volume to the millilitre with thin spaces."""
    return f"{value:,.0f}".replace(",", "\u202f")


def volume_words(summary: ModelForm, unit: Unit) -> tuple[str, str]:
    """Return the volume with its half-interval, and a sentence about it."""
    low, high = summary.volume_ml_95
    value = f"{millilitres(summary.volume_ml)} ± {millilitres((high - low) / 2)} mL"
    sentence = text.VOLUME_SENTENCE.format(
        low=millilitres(low),
        high=millilitres(high),
        bottom=unit.number(summary.from_mm),
        top=unit.words(summary.to_mm),
        along=text.ALONG[summary.limb],
    )
    return value, sentence


def visit_line(line: VisitLine) -> str:
    """Return whose visit it is, of which limb, and when."""
    limb = limb_words(line.side, line.limb)
    return text.RECORDS_LINE.format(line.client, limb, moment(line.taken.astimezone()), line.id)


def with_half(value: float, ends: tuple[float, float], words: Callable[[float], str]) -> str:
    """Return a value with half of its interval."""
    return f"{words(value)} ± {words((ends[1] - ends[0]) / 2)}"


def end_words(summary: ModelForm, unit: Unit) -> tuple[str, str, str, str] | None:
    """Return which end was measured, its volume, a sentence, and that with the limb; None without one."""
    if not summary.segments or summary.volume_ml_whole is None or summary.volume_ml_whole_95 is None:
        return None
    (part,) = summary.segments
    girths = (
        f"{shown(name)} {with_half(mean, ends, unit.words)}" for name, mean, ends in segment_girths(part)
    )
    sentence = text.END_SENTENCE[part.name].format(
        top=unit.words(part.to_mm), length=unit.words(part.length_mm), girths=", ".join(girths)
    )
    own = with_half(part.volume_ml, part.volume_ml_95, millilitres)
    together = with_half(summary.volume_ml_whole, summary.volume_ml_whole_95, millilitres)
    return part.name, f"{own} mL", sentence, f"{together} mL"


def place_rows(summary: ModelForm, unit: Unit) -> list[dict[str, str]]:
    """Return what was taped on foot or hand as a table."""
    rows = (
        (
            shown(place_words(row.place).capitalize()),
            unit.number(row.girth_mm),
            "–" if row.photo_mm is None else unit.number(row.photo_mm),
            text.VERDICT_SIGN[row.verdict] + " " + text.VERDICT_SHORT[row.verdict],
        )
        for row in summary.place_girths
    )
    return table(heads_in(unit, text.END_COLUMNS), rows)


def taped_end(summary: ModelForm, unit: Unit) -> str:
    """Return what the tape alone says of the volume of foot or hand; empty where its length was not taped."""
    return "" if summary.taped_end is None else unit.sentence(taped_end_words(summary.taped_end))


def tape_rows(summary: ModelForm, unit: Unit) -> list[dict[str, str]]:
    """Return the tape against the photographs as a table."""
    rows = (
        (
            unit.number(row.height_mm),
            unit.number(row.tape_mm),
            "–" if row.photo_mm is None else unit.number(row.photo_mm),
            text.VERDICT_SIGN[row.verdict] + " " + text.VERDICT_SHORT[row.verdict],
        )
        for row in summary.tape_check
    )
    return table(heads_in(unit, text.TAPE_COLUMNS), rows)


def girth_rows(rows: Sequence[TapeRow], unit: Unit) -> list[dict[str, str]]:
    """Return girths that no photographs are held against as a table."""
    cells = ((unit.number(row.height_mm), unit.number(row.girth_mm)) for row in rows)
    return table(heads_in(unit, text.GIRTHS_ALONE), cells)


def history_words(line: HistoryLine, *, named: bool) -> str:
    """Return a line of history as a sentence, ``named`` with code and number of the visit."""
    by = text.HISTORY_BY.format(plain(line.by)) if line.by else ""
    before, after = (
        plain(_moment(words) if line.what == "date" else words) for words in (line.was, line.became)
    )
    what = text.HISTORY_WORDS[line.what].format(before, after)
    words = text.HISTORY_LINE.format(moment(line.when.astimezone()), what, by)
    return text.HISTORY_NAMED.format(plain(line.client), line.visit, words) if named else words


def _moment(stored: str) -> str:
    return moment(datetime.fromisoformat(stored).astimezone())


def cone_words(summary: ModelForm) -> str:
    """Return the sum of cones with its note."""
    if summary.cone_volume_ml is None:
        return shown(summary.cone_note)
    return text.CONES.format(millilitres(summary.cone_volume_ml), summary.cone_note)


def section_words(height_mm: float, around: Estimate, unit: Unit) -> str:
    """Return the girth of one section in words."""
    low, high = around.interval_95
    return text.SECTION_SENTENCE.format(
        height=unit.words(height_mm),
        girth=unit.words(float(around.mean[0])),
        low=unit.number(float(low[0])),
        high=unit.number(float(high[0])),
    )


def profile_rows(limb: Limb, checks: Sequence[TapeCheck], unit: Unit) -> list[dict[str, str]]:
    """Return the girths along a limb as a table, every 2 cm or every inch, and at each height of the tape."""
    step = 4 * unit.step * unit.mm
    even = step * np.arange(np.ceil(limb.from_mm / step), np.floor(limb.to_mm / step) + 1)
    taped = {c.row.height_mm: c for c in checks if limb.from_mm <= c.row.height_mm <= limb.to_mm}
    heights = np.unique(np.concatenate([even, list(taped)]))
    values = girth(limb, heights)
    each = zip(heights, values.mean, *values.interval_95, strict=True)
    rows = [(*_girth_cells(*one, unit), _taped_cell(taped.get(float(one[0])), unit)) for one in each]
    # without a reading of the tape its column is left out
    count = 4 if taped else 3
    return table(heads_in(unit, text.GIRTH_COLUMNS[:count]), (row[:count] for row in rows))


def _girth_cells(height: float, mean: float, low: float, high: float, unit: Unit) -> tuple[str, str, str]:
    return unit.number(height), unit.number(mean), text.BETWEEN.format(unit.number(low), unit.number(high))


def _taped_cell(check: TapeCheck | None, unit: Unit) -> str:
    if check is None:
        return ""
    return f"{unit.number(check.row.girth_mm)}, {text.VERDICT_SHORT[check.verdict]}"


def section_rows(sections: Sequence[tuple[str, Array]], unit: Unit) -> list[dict[str, str]]:
    """Return what each outline of a section measures; each is a name and a closed line (N, 2) mm.

    One outline alone is not named.
    """
    rows = [(name, *(unit.number(value) for value in _measures(line))) for name, line in sections]
    first = 1 if len(rows) == 1 else 0
    return table(heads_in(unit, text.SECTION_COLUMNS[first:]), (row[first:] for row in rows))


def _measures(line: Array) -> tuple[float, float, float]:
    """Return length, width and depth of a closed line (N, 2)."""
    around = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    width, depth = np.ptp(line, axis=0)
    return float(around), float(width), float(depth)


def worst(findings: Sequence[Finding]) -> str:
    """Return the gravest severity among findings; ``note`` when there is none."""
    return max((finding.severity for finding in findings), key=_WORST.__getitem__, default="note")


def finding_lines(findings: Sequence[Finding]) -> tuple[str, ...]:
    """Return what needs doing, gravest first; notes are left out."""
    grave = [finding for finding in findings if finding.severity != "note"]
    grave.sort(key=lambda finding: -_WORST[finding.severity])
    lines = ((shown(finding.text), shown(finding.do)) for finding in grave)
    return tuple(f"{said} **{do}**" if do else said for said, do in lines)


def left_out_note(measured: Measured, number: int) -> str:
    """Return why a photograph (from 0) serves another leg and not this one; empty where that is not why."""
    begins = f"Photograph {number + 1} "
    told = (
        finding for finding in measured.findings if finding.code == "left-out" and finding.severity == "note"
    )
    return next((shown(finding.text) for finding in told if finding.text.startswith(begins)), "")


def notes_line(findings: Sequence[Finding]) -> str:
    """Return what is as it should be, in one line."""
    return " ".join(shown(finding.text) for finding in findings if finding.severity == "note")
