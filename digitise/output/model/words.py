"""What a therapist reads when a limb has been measured: plain text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from pathlib import Path

from digitise.output.cautions import POSTURES, counted_from
from digitise.output.model.form import ModelForm, PlaceGirthForm, TapeCheckForm, TapedEndForm
from digitise.output.model.segments import segment_girths
from digitise.tape.places import place_words
from digitise.words import shown

_WIDTH = 96
# findings that offer more photographs; models of earlier versions offered a third one
OFFERED = ("after-turn", "third-photo")


def summary_text(summary: ModelForm, folder: str | Path) -> str:
    """Return the figures, checks, warnings, files and the caution as lines of plain text.

    Parameters
    ----------
    summary
        The content of model.json.
    folder
        Where the files are.
    """
    parts = (
        _head(summary),
        _section("Tape against photographs", map(_tape_line, summary.tape_check)),
        _section("Taped on foot or hand, not in the volume above", _on_the_end(summary)),
        _section("Corrected by hand", _by_hand(summary)),
        _section("Warnings", (warning.text for warning in summary.warnings)),
        _section("To know it better", advice_lines(summary)),
        _section("Not included", summary.not_included),
        _section("How far to trust it", (summary.method,)),
        _section(f"Files in {folder}", _files(summary)),
        _section("Caution", summary.caution),
    )
    return "\n\n".join(part for part in parts if part) + "\n"


def advice_lines(summary: ModelForm) -> tuple[str, ...]:
    """Return what would make the limb better known, where that is offered and not asked for."""
    return tuple(
        f"{finding.text} {finding.do}".strip()
        for finding in summary.findings
        if finding.code in OFFERED and finding.severity == "note"
    )


def _head(summary: ModelForm) -> str:
    low, high = summary.volume_ml_95
    half = (high - low) / 2
    share = 100 * half / summary.volume_ml
    title = f"{summary.side.capitalize()} {summary.limb}, {summary.from_mm:.0f} to {summary.to_mm:.0f} mm"
    volume = (
        f"Volume       {_ml(summary.volume_ml)} ± {_ml(half)} mL ({share:.1f} %); "
        f"95 % interval {_ml(low)} to {_ml(high)} mL"
    )
    cone = "none" if summary.cone_volume_ml is None else f"{_ml(summary.cone_volume_ml)} mL"
    note = shown(f"Sum of cones {cone}. {summary.cone_note}")
    lines = map(shown, (title, *_lying(summary), volume, *_beyond(summary)))
    return "\n".join((*lines, textwrap.fill(note, _WIDTH, subsequent_indent=" " * 13)))


def _lying(summary: ModelForm) -> Iterator[str]:
    """Say how a limb lay, and from where its heights count."""
    if summary.lying is not None and summary.landmark is not None:
        file = summary.photos[summary.landmark.photo - 1].file
        start = counted_from(summary.lying, summary.counted_from)
        yield f"Measured {POSTURES[summary.lying]}; heights count from {start}, tapped in {file}."


def _beyond(summary: ModelForm) -> Iterator[str]:
    """Say what was measured beyond the straight limb, and all together."""
    for part in summary.segments:
        yield (
            f"{part.name.capitalize():13}{_ml(part.volume_ml)} ± {_half(part.volume_ml_95)} mL "
            f"{BEYOND[part.name]} {part.to_mm:.0f} mm; length {part.length_mm:.0f} mm"
        )
        girths = (f"{name} {mean:.0f} ± {_half(ends)} mm" for name, mean, ends in segment_girths(part))
        yield f"{'':13}girths, to be confirmed with a tape: {', '.join(girths)}"
    if summary.volume_ml_whole is not None and summary.volume_ml_whole_95 is not None:
        yield (
            f"Together     {_ml(summary.volume_ml_whole)} ± {_half(summary.volume_ml_whole_95)} mL, "
            f"{summary.limb} and {' and '.join(part.name for part in summary.segments)}"
        )


BEYOND = {"foot": "below", "hand": "beyond"}
"""On which side of its limb's first section a part lies, in a word."""


def _half(ends: tuple[float, float]) -> str:
    return _ml((ends[1] - ends[0]) / 2)


def _ml(value: float) -> str:
    return f"{value:,.0f}".replace(",", " ")


def _section(title: str, items: Iterable[str]) -> str:
    told = map(shown, items)
    lines = [textwrap.fill(item, _WIDTH, initial_indent="  ", subsequent_indent="    ") for item in told]
    return "\n".join([shown(title), *lines]) if lines else ""


def _tape_line(check: TapeCheckForm) -> str:
    place = f"{check.point} at" if check.point else "at"
    row = f"{place} {check.height_mm:.0f} mm: tape {check.tape_mm:.0f} mm"
    if check.photo_mm is None or check.difference_mm is None:
        return f"{row}; outside the measured segment, not used"
    words = {
        "agrees": "agrees",
        "differs": "differs more than expected; both are used",
        "suspect": "suspect, hardly used: check the reading and the outline there",
    }
    more = "more" if check.difference_mm >= 0 else "less"
    difference = f"tape {abs(check.difference_mm):.0f} mm {more}"
    return f"{row}, photographs {check.photo_mm:.0f} mm ({difference}): {words[check.verdict]}"


def _place_line(row: PlaceGirthForm) -> str:
    taped = f"{place_words(row.place)}: tape {row.girth_mm:.0f} mm"
    if row.photo_mm is None or row.photo_mm_95 is None:
        return f"{taped}; the photographs do not tell it"
    words = {
        "agrees": "agrees",
        "differs": "differs more than expected: tape it again, and look at the outline of the foot",
    }
    half = _half(row.photo_mm_95)
    return f"{taped}, photographs {row.photo_mm:.0f} ± {half} mm: {words[row.verdict]}"


def _on_the_end(summary: ModelForm) -> Iterator[str]:
    yield from map(_place_line, summary.place_girths)
    if summary.taped_end is not None:
        yield taped_end_words(summary.taped_end)


def taped_end_words(end: TapedEndForm) -> str:
    """Return in a sentence what the tape alone says of the volume of foot or hand."""
    if end.volume_ml is None or end.volume_ml_95 is None:
        return end.note
    where = "beyond the wrist" if end.below_mm is None else f"below {end.below_mm:.0f} mm"
    said = (
        f"{end.part.capitalize()} {where}, estimated by tape alone: {_ml(end.volume_ml)} ± "
        f"{_half(end.volume_ml_95)} mL"
    )
    if end.photographs_ml is None or end.photographs_ml_95 is None:
        return f"{said}."
    return f"{said}; by the photographs {_ml(end.photographs_ml)} ± {_half(end.photographs_ml_95)} mL."


def _by_hand(summary: ModelForm) -> Iterator[str]:
    for photo in summary.photos:
        drawn = photo.drawn
        if drawn is None:
            continue
        edges = (("left", drawn.left_mm), ("right", drawn.right_mm))
        done = [f"{length:.0f} mm of the {side} edge drawn" for side, length in edges if length]
        if drawn.strokes:
            done.append(f"{drawn.strokes} brush stroke{'' if drawn.strokes == 1 else 's'}")
        yield f"{photo.file}: {', '.join(done)}; {drawn.percent:.0f} % of its outline is drawn"


def _files(summary: ModelForm) -> tuple[str, ...]:
    above = (photo.outline for part in summary.segments for photo in part.photos)
    pictures = ", ".join((*(photo.outline for photo in summary.photos), *above))
    return (
        f"{pictures}: the photographs with the edge that was found; look at these first",
        "sections.csv: girth and area every 10 mm, with intervals",
        "mesh.ply, mesh.stl, mesh.obj (mm), mesh.glb (metres): the surface",
        "model.json, limb.npz: all figures and the limb itself, for comparing visits",
    )
