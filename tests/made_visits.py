"""Visits kept as a folder of photographs, field and tape, measured; and their true sections."""

import json
from pathlib import Path

import numpy as np

from digitise.capture.sheets.field import read_field
from digitise.output.model.measured import Measured
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb


def measured_visit(
    folder: Path, side: str, low: float | None = None, high: float | None = None, **how
) -> Measured:
    """Return a limb measured between two heights, mm, or those found, from every photograph in a folder."""
    return measure_limb(
        sorted(folder.glob("photo-*.jpg")),
        read_field(folder / "field.json"),
        read_tape(folder / "tape.csv"),
        side=side,
        from_mm=low,
        to_mm=high,
        **how,
    )


def true_sections(path: Path) -> dict[str, np.ndarray]:
    """Return the columns of the sections in a file of truth: heights, mm, areas, mm^2, and girths, mm."""
    rows = json.loads(path.read_text())["sections"]
    return {key: np.array([row[key] for row in rows]) for key in ("height", "area", "hull_perimeter")}
