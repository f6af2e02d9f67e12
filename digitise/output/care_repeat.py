"""A study of repeated measurements: repeat.json, and its figures as sentences."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from digitise import __version__
from digitise.care.agreement import BlandAltman, Repeatability
from digitise.care.icc import FORM_WORDS, Interval
from digitise.files import new_folder
from digitise.output.care_form import now, rounded
from digitise.output.care_text import CAUTION_FILE, page, section, write_caution
from digitise.output.cautions import caution
from digitise.output.tables import csv_text

FORMAT: Final = "limb-repeat/1"
REPEAT_FILE, TABLE_FILE = "repeat.json", "repeat.csv"
REPEAT_FILES = frozenset({REPEAT_FILE, TABLE_FILE, CAUTION_FILE})
_TABLE = ("group", "limb", "side", "day", "from_mm", "to_mm", "measurement", "volume_ml")


@dataclass(frozen=True)
class Repeats:
    """Measurements of one limb on one day, taken as unchanged.

    Attributes
    ----------
    limb, side, day
        Of which limb, and the date.
    from_mm, to_mm
        Heights that all of them share.
    volumes_ml
        In the order taken.
    """

    limb: str
    side: str
    day: str
    from_mm: float
    to_mm: float
    volumes_ml: tuple[float, ...]


def repeat_facts(
    groups: Sequence[Repeats], found: Repeatability, created: datetime | None = None
) -> dict[str, object]:
    """Return what repeat.json holds; ``created`` is now when None."""
    return {
        "format": FORMAT,
        "groups": [
            {
                "limb": group.limb,
                "side": group.side,
                "day": group.day,
                "from_mm": rounded(group.from_mm),
                "to_mm": rounded(group.to_mm),
                "volumes_ml": [rounded(volume) for volume in group.volumes_ml],
            }
            for group in groups
        ],
        "measurements": found.measurements,
        "sem_ml": _figure(found.sem),
        "sem_percent": _figure(found.sem_percent),
        "mdc95_ml": rounded(found.mdc95),
        "mdc95_percent": rounded(found.mdc95_percent),
        "tem_ml": rounded(found.tem.tem),
        "tem_percent": rounded(found.tem.percent),
        "second_minus_first_ml": _agreement(found.second_minus_first),
        "icc": [
            {"form": form, "words": FORM_WORDS[form], **_figure(value)} for form, value in found.icc.items()
        ],
        "sentences": list(repeat_sentences(groups, found)),
        "caution": list(caution(groups[0].limb)),
        "created": (created or now()).isoformat(),
        "software": {"name": "digitise", "version": __version__},
    }


def _figure(value: Interval) -> dict[str, object]:
    return {"value": rounded(value.value), "interval_95": [rounded(value.low), rounded(value.high)]}


def _agreement(found: BlandAltman | None) -> dict[str, object] | None:
    if found is None:
        return None
    return {
        "pairs": found.n,
        "bias": _figure(found.bias),
        "lower_limit": _figure(found.lower),
        "upper_limit": _figure(found.upper),
        "sd": rounded(found.sd),
    }


def repeat_sentences(groups: Sequence[Repeats], found: Repeatability) -> tuple[str, ...]:
    """Return the study in plain words, one or two sentences an item."""
    return tuple(_sentences(groups, found))


def _sentences(groups: Sequence[Repeats], found: Repeatability) -> Iterator[str]:
    yield (
        f"{found.measurements} measurements of {len(groups)} limb(s), each measured more than once on one "
        "day and taken as unchanged."
    )
    low, high = found.sem_percent.low, found.sem_percent.high
    yield (
        f"Error of one measurement (SEM): {found.sem.value:.0f} mL or {found.sem_percent.value:.2f} % "
        f"(95 % interval {low:.2f} to {high:.2f} %)."
    )
    yield f"Smallest clear change (MDC95): {found.mdc95:.0f} mL or {found.mdc95_percent:.2f} %."
    if found.second_minus_first is not None:
        agree = found.second_minus_first
        yield (
            f"Second minus first: {agree.bias.value:+.0f} mL, limits of agreement "
            f"{agree.lower.value:+.0f} to {agree.upper.value:+.0f} mL (Bland and Altman)."
        )
    for form, value in found.icc.items():
        yield (
            f"{form}, {FORM_WORDS[form]}: {value.value:.3f} "
            f"(95 % interval {value.low:.3f} to {value.high:.3f})."
        )
    if not found.icc:
        yield "No ICC: it needs two or more limbs, each measured equally often."
    yield f"Use it for a course with --sem {found.sem_percent.value:.2f}."


def repeat_text(facts: Mapping[str, object], sentences: Sequence[str], out: Path | None) -> str:
    """Return the study, files and the caution as lines of plain text."""
    files = ("repeat.json, repeat.csv: all figures",)
    words = facts["caution"]
    return page(
        section("Repeatability", sentences),
        section(f"Files in {out}", files) if out else "",
        section("Caution", [str(line) for line in words] if isinstance(words, list) else ()),
    )


def write_repeat(out: str | Path, groups: Sequence[Repeats], facts: Mapping[str, object]) -> None:
    """Write repeat.json and repeat.csv into the folder ``out``; one that holds an earlier study is replaced.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files; it is left as it was.
    """
    rows = (
        (number, group.limb, group.side, group.day, group.from_mm, group.to_mm, count, rounded(volume))
        for number, group in enumerate(groups, start=1)
        for count, volume in enumerate(group.volumes_ml, start=1)
    )
    with new_folder(out, REPEAT_FILES.__contains__, "study of repeats") as folder:
        write_caution(folder, caution(groups[0].limb))
        text = json.dumps(facts, indent=1, ensure_ascii=False, allow_nan=False)
        (folder / REPEAT_FILE).write_text(text + "\n", encoding="utf-8")
        (folder / TABLE_FILE).write_text(csv_text(_TABLE, rows), encoding="utf-8", newline="")
