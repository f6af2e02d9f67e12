"""What changed, in plain words; and what may make the comparison less sure."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from digitise.care.change.compare import Change, ChangeVerdict
from digitise.care.change.end import EndChange
from digitise.care.change.motion import limb_name
from digitise.care.excess import Excess
from digitise.care.surface.place_words import direction_words
from digitise.output.cautions import POSTURES
from digitise.output.change.form import VERDICTS, ChangeForm
from digitise.output.forms import WarningForm
from digitise.output.model.form import ModelForm
from digitise.output.model.words import BEYOND, OFFERED
from digitise.output.plain_text import page, section
from digitise.shape.limb import AnyEstimate, Estimate
from digitise.words.numbers import day

_FILES = (
    "change-views.png: the limb from four sides, coloured by change; look at this first",
    "change-map.png, change-sections.png: the change unrolled, and sections laid over one another",
    "mesh-change.ply (mm), mesh-change.glb (metres): the surface in the same colours",
    "change.json, change.csv, chart.csv: all figures with their intervals",
)
# A person turns on the same footprints by some 6 degrees; beyond 15 the views saw other parts of the limb.
_MUCH_TURN_DEGREES = 15.0
# A direction is named by eighths of a turn: half of one.
_UNSURE_TURN_DEGREES = 22.5
_SAME_MM = 1.0
# what a verdict on the second limb says of the first
_OF_FIRST = {
    ChangeVerdict.SMALLER: "larger",
    ChangeVerdict.LARGER: "smaller",
    ChangeVerdict.UNCLEAR: "no clear difference",
}


_SOLVED_TOGETHER = (
    "Both visits were solved together, so that errors common to both cancel; the difference of the two "
    "volumes that each visit states, as in a course, may lie some mL away."
)


def change_sentences(change: Change, excess: Excess | None) -> tuple[str, ...]:
    """Return the change in plain words: whole limb, segments, girth, place.

    Parameters
    ----------
    change
        The comparison.
    excess
        Of the first limb over the second, where these are the two sides; then all is said of the first.
    """
    if excess is None:
        return (_whole(change), *_parts(change), _girth(change), _place(change), _SOLVED_TOGETHER)
    return (*_excess(change, excess), *_parts(change), _place(change))


def end_sentences(end: EndChange | None) -> tuple[str, ...]:
    """Return the change of foot or hand in plain words; nothing without one."""
    if end is None:
        return ()
    change = with_interval(end.change_ml, "mL")
    place = f"The {end.name}, {BEYOND[end.name]} {end.below_mm:.0f} mm,"
    if end.verdict == ChangeVerdict.UNCLEAR:
        return (f"{place} shows no clear change: {change}.",)
    verb = "lost" if end.verdict == ChangeVerdict.SMALLER else "gained"
    return (
        f"{place} {verb} {abs(end.change_ml.mean):.0f} mL or {abs(end.percent.mean):.1f} % of its volume: "
        f"{change}.",
    )


def sides(change: Change) -> tuple[str, str]:
    """Return the names of both limbs of a mirrored comparison, such as ``left leg`` and ``right leg``."""
    kind, side = change.first.kind, change.first.side
    return f"{side} {kind}", f"{'right' if side == 'left' else 'left'} {kind}"


def with_interval(estimate: AnyEstimate, unit: str, digits: int = 0) -> str:
    """Return for instance ``-12 mL (95 % interval -20 to -4)``."""
    low, high = (float(end) for end in estimate.interval_95)
    return (
        f"{float(estimate.mean):+.{digits}f} {unit} (95 % interval {low:+.{digits}f} to {high:+.{digits}f})"
    )


def _whole(change: Change) -> str:
    whole = change.whole
    heights = f"Between {whole.segment.low:.0f} and {whole.segment.high:.0f} mm the {limb_name(change.first)}"
    if whole.verdict == ChangeVerdict.UNCLEAR:
        return f"{heights} shows no clear change: {with_interval(whole.change_ml, 'mL')}."
    verb = "lost" if whole.verdict == ChangeVerdict.SMALLER else "gained"
    return (
        f"{heights} {verb} {abs(float(whole.change_ml.mean)):.0f} mL or "
        f"{abs(float(whole.percent.mean)):.1f} % of its volume: {with_interval(whole.change_ml, 'mL')}."
    )


def _excess(change: Change, excess: Excess) -> Iterator[str]:
    affected, reference = sides(change)
    whole, over = change.whole, excess.excess_ml
    low, high = whole.segment.low, whole.segment.high
    if whole.verdict == ChangeVerdict.UNCLEAR:
        yield (
            f"Between {low:.0f} and {high:.0f} mm there is no clear difference between {affected} and "
            f"{reference}: {with_interval(over, 'mL')}."
        )
    else:
        word = "larger" if whole.verdict == ChangeVerdict.SMALLER else "smaller"
        yield (
            f"Between {low:.0f} and {high:.0f} mm the {affected} is {word} than the {reference}: "
            f"{with_interval(over, 'mL')}."
        )
    if excess.percent is not None:
        yield f"In percent of the {reference}: {with_interval(excess.percent, '%', 1)}."
    if excess.note:
        yield excess.note


def _parts(change: Change) -> Iterator[str]:
    for part in change.parts:
        name, low, high = part.segment
        head = f"{name[0].upper()}{name[1:]}, {low:.0f} to {high:.0f} mm"
        if change.mirrored:
            over = Estimate(-part.change_ml.mean, part.change_ml.sd)
            yield f"{head}: {_OF_FIRST[part.verdict]}, {with_interval(over, 'mL')}."
        else:
            percent = f"{float(part.percent.mean):+.1f} %"
            yield f"{head}: {VERDICTS[part.verdict]}, {with_interval(part.change_ml, 'mL')}, {percent}."


def _girth(change: Change) -> str:
    girths = change.girths
    clear = np.array([verdict != ChangeVerdict.UNCLEAR for verdict in girths.verdict])
    if not clear.any():
        return "No girth has clearly changed."
    most = int(np.argmax(np.where(clear, np.abs(girths.change_mm.mean), -np.inf)))
    found = Estimate(girths.change_mm.mean[most], girths.change_mm.sd[most])
    return f"The girth changed most at {girths.height_mm[most]:.0f} mm: {with_interval(found, 'mm')}."


def _place(change: Change) -> str:
    chart = change.chart
    if not chart.clear.any():
        return "Nowhere on the surface is there a difference that is clear by itself."
    size = np.where(chart.clear, np.abs(chart.change_mm.mean), -np.inf)
    row, column = np.unravel_index(int(np.argmax(size)), size.shape)
    sign = -1.0 if change.mirrored else 1.0
    found = Estimate(sign * chart.change_mm.mean[row, column], chart.change_mm.sd[row, column])
    verb = "differs" if change.mirrored else "moved"
    where = direction_words(change.first, float(chart.theta[column]))
    return f"The surface {verb} most at {chart.z[row]:.0f} mm, {where}: {with_interval(found, 'mm', 1)}."


def change_warnings(
    change: Change, covers: tuple[tuple[float, float], tuple[float, float]]
) -> tuple[WarningForm, ...]:
    """Return what may make a comparison less sure.

    Parameters
    ----------
    change
        The comparison.
    covers
        From and to of both models as they were measured, mm.
    """
    return tuple(WarningForm(code=code, text=text) for code, text in _warnings(change, covers))


def less_sure(change: Change, first: ModelForm, last: ModelForm, first_day: date) -> Iterator[str]:
    """Yield what makes the later visit's figures less sure, the change, and then the earlier visit's.

    Parameters
    ----------
    change
        From the earlier visit to the later one.
    first, last
        What model.json says of both.
    first_day
        The earlier visit's.
    """
    told = [warning.text for warning in last.warnings]
    yield from told
    covers = (first.from_mm, first.to_mm), (last.from_mm, last.to_mm)
    yield from (warning.text for warning in change_warnings(change, covers))
    for warning in first.warnings:
        # an edge that is unsure is in the interval, and more photographs come too late; the rest may be wrong
        if warning.code not in ("edge-unsure", *OFFERED) and warning.text not in told:
            yield f"Visit of {day(first_day)}: {warning.text}"


def _warnings(
    change: Change, covers: tuple[tuple[float, float], tuple[float, float]]
) -> Iterator[tuple[str, str]]:
    yield from _other_posture(change)
    turn, sd = change.alignment.turn_degrees
    if abs(turn) > _MUCH_TURN_DEGREES and not change.mirrored:
        yield (
            "turned",
            f"The second limb stood turned by {abs(turn):.0f} degrees, so other sides of it were seen: let "
            "the client stand on the same footprints.",
        )
    if sd > _UNSURE_TURN_DEGREES:
        yield (
            "turn-unsure",
            f"How far the second limb was turned is known to {sd:.0f} degrees only (one sd): directions on "
            "the map are unsure, girths are not touched.",
        )
    if any(abs(a - b) > _SAME_MM for a, b in zip(*covers, strict=True)):
        (a, b), (c, d) = covers
        yield (
            "heights",
            f"The models cover {a:.0f} to {b:.0f} mm and {c:.0f} to {d:.0f} mm; compared is what both cover.",
        )


def _other_posture(change: Change) -> Iterator[tuple[str, str]]:
    first, second = (POSTURES[limb.lying] for limb in (change.first, change.second))
    if first != second:
        yield (
            "posture",
            f"The first limb was measured {first}, the second {second}: muscles and fluid lie otherwise "
            "then, and heights may count from another place. Measure both in one posture.",
        )


def change_text(summary: ChangeForm, folder: str | Path) -> str:
    """Return sentences, warnings, files and the caution as lines of plain text."""
    first, second = summary.first, summary.second
    if summary.mirrored:
        title = f"{first.side.capitalize()} {summary.limb} against {second.side} {summary.limb}"
    else:
        title = f"{first.side.capitalize()} {summary.limb}, second visit against first"
    seen = ", ".join(overlay.file for overlay in summary.overlays)
    overlays = (f"{seen}: the same as the photographs saw it, the first limb as a line",) if seen else ()
    colours = f"Colours end at {summary.colours.reach_mm:.0f} mm of change; grey is no clear change."
    return page(
        section(title, summary.sentences),
        section("Warnings", (warning.text for warning in summary.warnings)),
        section("Not included", summary.not_included),
        section(f"Files in {folder}", (_FILES[0], *overlays, *_FILES[1:], colours)),
        section("Caution", summary.caution),
    )
