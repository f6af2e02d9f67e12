"""The part of ``docs/accuracy.md`` on change over many pairs, from what ``tests/change_study.py`` kept."""

from __future__ import annotations

import json

import numpy as np
from change_study import FIRST_KEPT, RESULTS
from conftest import ROOT

CHART = ROOT / "docs/pictures/change-errors.svg"

TEXT = """
### Over many pairs of body meshes

Legs of a parametric body model at two visits (`tests/data/limbs/README.md`): several builds, both sexes,
true changes of 0 to -7.5 %, the second time turned by up to 15 degrees, shifted by up to 20 mm, the knee
bent otherwise, with another phone. Exact outlines with errors as measured on what the program finds in
four photo-real cases (all edges of both visits 0.10 px, those of a visit 0.03 px, one edge 0.08 px, along
it 0.15 px), cameras off as a calibration says, prints off by 0.1 %, five tapes (one hand 1.2 mm, a row
1.6 mm, its height 1 mm). Photographs from the front and the side, each off by up to 6 degrees; *four*: and
both once more with the limb turned by 45 degrees. *Swaying*: before each photograph the limb has moved by
0.8 mm, leant and turned by 0.3 degrees (sd), as standing people do within a minute; else nobody moves. The
*kept* pairs were measured without any choice being taken by them; made by `python tests/change_study.py`.
What becomes of it where people move more is told in `docs/decisions/0010-what-two-photographs-tell.md`.

"""

CHART_TEXT = """
![Error of the change over the true change, percent of the limb](pictures/change-errors.svg)

"""

MEANS = """
Percent are of the first volume, of the limb or of the segment. *Cover* is the share of 95 % intervals
that hold the truth. What limits a change from two photographs is not the outline but what two views at a
right angle cannot see: how the oval of a section is turned, and how square it is. Where the two views
were less square to each other at one visit than at the other, that looks like swelling; five tapes can
tell it to about half a percent. So stand for the second photograph as nearly at a right angle to the
first as you can, and at every visit in the same two places: where nobody was turned and both visits were
photographed from the same places within 1.5 degrees, the change of 15 of these pairs was right to 0.17 % rms.
Or take four: two more views half way between see what the first two cannot, however the limb stood. Of more
movement than swaying four tell as well, and state it: where 12 of these limbs moved by 2 mm and 0.75 degrees
(sd) before each photograph, the change was right to 0.55 % rms, ± 0.76 %, from two photographs to 0.98 %,
± 0.93 %.
"""


def rms(values) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def _both(error: np.ndarray) -> str:
    return f"{rms(error):.2f} % | {np.abs(error).max():.2f} %"


def _row(name: str, rows: list[dict]) -> str:
    error, half, plain = (np.array([row[key] for row in rows]) for key in ("error", "half", "subtracted"))
    return (
        f"| {name} | {len(rows)} | {_both(error)} | ± {np.median(half):.2f} % "
        f"| {100 * np.mean(np.abs(error) <= half):.0f} % | {_both(plain)} |\n"
    )


def _part_row(name: str, rows: list[dict]) -> str:
    parts = [part for row in rows for part in row["parts"]]
    error, half, plain = (np.array([part[key] for part in parts]) for key in ("error", "half", "subtracted"))
    volumes = np.array([row["volumes"] for row in rows])
    within = np.abs(volumes) <= np.array([row["volume_half"] for row in rows])
    return (
        f"| {name} | {rms(error):.2f} % | {100 * np.mean(np.abs(error) <= half):.0f} % | {rms(plain):.2f} % "
        f"| {rms([row['girth_rms_mm'] for row in rows]):.1f} mm "
        f"| {100 * np.mean([row['girth_cover'] for row in rows]):.0f} % "
        f"| {rms(volumes):.2f} % | {np.abs(volumes).max():.2f} % | {100 * np.mean(within):.0f} % |\n"
    )


def _calls(two: list[dict], four: list[dict]) -> str:
    """Say how changes of about 0, 1, 2 and more percent were called."""
    lines = ["| true change | pairs | smaller | no clear change | larger |\n|---|---|---|---|---|\n"]
    for name, low, high in (("0", 0.0, 0.5), ("1 %", 0.5, 1.5), ("2 %", 1.5, 2.5), ("more", 2.5, 99.0)):
        here = [[row["verdict"] for row in rows if low <= abs(row["true"]) < high] for rows in (two, four)]
        counts = " | ".join(
            ", ".join(str(called.count(word)) for called in here) for word in ("smaller", "unclear", "larger")
        )
        lines.append(f"| {name} | {len(here[0])} | {counts} |\n")
    return "".join(lines)


def _third(rows: list[dict]) -> list[str]:
    lines = [
        "\nWhat more photographs do for a single volume, the same errors:\n\n",
        "| photographs | limbs | error rms | worst |\n|---|---|---|---|\n",
    ]
    names = {
        "two": "front and outer side",
        "front-outer": "and one between them",
        "front-inner": "and one between front and inner side",
        "both": "and both",
    }
    for key, name in names.items():
        error = np.array([row[key][0] for row in rows])
        lines.append(f"| {name} | {len(rows)} | {_both(error)} |\n")
    return lines


def _open(row: dict) -> bool:
    return bool(row["pair"] < FIRST_KEPT)


def pairs_section() -> list[str]:
    """Return the lines of the section, and draw its chart."""
    kept = json.loads(RESULTS.read_text())
    every = kept["as measured"]
    sets = {
        f"{photos}{', swaying' if 'swaying' in key else ''}, {name}": [
            row for row in kept[key] if chosen(row)
        ]
        for photos, keys in (("two", ("as measured", "swaying")), ("four", ("four", "four, swaying")))
        for key in keys
        for name, chosen in (("open", _open), ("kept", lambda row: not _open(row)))
    }
    CHART.write_text(chart(every), encoding="utf-8")
    lines = [
        TEXT,
        "| photographs, pairs | | whole, rms | worst | half width | cover | subtracted, rms | worst |\n",
        "|---|---|---|---|---|---|---|---|\n",
        *(_row(name, rows) for name, rows in sets.items() if rows),
        "\n| photographs, pairs | segments, rms | cover | subtracted | girths, rms | cover | one volume, rms "
        "| worst | cover |\n",
        "|---|---|---|---|---|---|---|---|---|\n",
        *(_part_row(name, rows) for name, rows in sets.items() if rows),
        "\nHow the changes were called, from two photographs and from four:\n\n",
        _calls(every, kept["four"]),
    ]
    if "tape" in kept:
        tape = np.array([row["error"] for row in kept["tape"]])
        lines.append(
            f"\nCones from the same tapes alone, rms and worst: {_both(tape).replace(' | ', ', ')}.\n"
        )
    if "third" in kept:
        lines += _third(kept["third"])
    return [*lines, CHART_TEXT, MEANS.lstrip("\n"), "\n"]


def chart(rows: list[dict]) -> str:
    """Return an SVG: error of the change with its interval, and that of subtraction, over the true change."""
    width, height, edge = 720, 300, 46

    def x(true: float) -> float:
        return edge + (true + 8) / 8.5 * (width - 2 * edge)

    def y(error: float) -> float:
        return height / 2 - error / 2.0 * (height / 2 - edge / 2)

    marks = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" '
        f'font-size="12" role="img"><title>Error of the change over the true change</title>',
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for error in (-1.5, -1, -0.5, 0, 0.5, 1, 1.5):
        shade = "#444" if error == 0 else "#ddd"
        marks.append(
            f'<path d="M{edge} {y(error):.1f}H{width - edge}" stroke="{shade}"/>'
            f'<text x="{edge - 6}" y="{y(error) + 4:.1f}" text-anchor="end">{error:+.1f}</text>'
        )
    marks += [
        f'<text x="{x(true):.1f}" y="{height - 6}" text-anchor="middle">{true} %</text>'
        for true in range(-8, 1, 2)
    ]
    for row in rows:
        at, error, half = x(row["true"]), row["error"], row["half"]
        plain = y(row["subtracted"]) - 3
        marks.append(
            f'<path d="M{at:.1f} {y(error - half):.1f}V{y(error + half):.1f}" stroke="#a9c3e0"/>'
            f'<circle cx="{at:.1f}" cy="{y(error):.1f}" r="3.5" fill="#1f5fa8"/>'
            f'<path d="M{at - 3:.1f} {plain:.1f}l6 6m0 -6l-6 6" stroke="#b3541e" stroke-width="1.5"/>'
        )
    marks += [
        f'<text x="{edge}" y="16">error, % of the limb: '
        '<tspan fill="#1f5fa8">● both visits solved together, with 95 % interval</tspan> '
        '<tspan fill="#b3541e">✕ volumes subtracted</tspan></text>',
        "</svg>\n",
    ]
    return "\n".join(marks)
