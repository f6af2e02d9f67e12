"""What a therapist reads of a comparison: plain text for a terminal."""

from __future__ import annotations

from pathlib import Path

from digitise.output.change.form import ChangeForm
from digitise.output.plain_text import page, section

_FILES = (
    "change-views.png: the limb from four sides, coloured by change; look at this first",
    "change-map.png, change-sections.png: the change unrolled, and sections laid over one another",
    "mesh-change.ply (mm), mesh-change.glb (metres): the surface in the same colours",
    "change.json, change.csv, chart.csv: all figures with their intervals",
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
