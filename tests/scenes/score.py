"""Errors of rendered visits, as a table: ``python tests/scenes/score.py FOLDER …``."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from accuracy import score
from conftest import Case
from made_visits import measured_visit

from digitise.errors import DigitiseError
from digitise.output.model.measured import Measured
from digitise.shape.end_figures import end_volume

HEAD = (
    "| visit | segment, mm | volume error, 95 % | holds | girth rms | girth cover | foot |\n"
    "|---|---|---|---|---|---|---|"
)


@dataclass(frozen=True)
class Rendered(Case):
    """A rendered visit, its truth beside its photographs."""

    @property
    def truth(self) -> dict:
        """What was rendered."""
        return json.loads((self.folder / "truth.json").read_text(encoding="utf-8"))


def main() -> None:
    """Score every folder that is named, and sum up."""
    print(HEAD)
    errors, held = [], []
    for folder in map(Path, sys.argv[1:]):
        visit = Rendered(folder.name, folder)
        truth = visit.truth
        try:
            measured = measured_visit(folder, truth["side"], limb="leg" if truth["limb"] == "leg" else "arm")
        except DigitiseError as error:
            print(f"| {visit.name} | refused: {error} | | | | | |", flush=True)
            continue
        found = score(visit, measured.fit.limb)
        holds = abs(found.volume_ml - found.true_ml) <= found.half_width_ml
        errors.append(found.volume_error)
        held.append(holds)
        wide = 100.0 * found.half_width_ml / found.true_ml
        print(
            f"| {visit.name} | {found.low:.0f}-{found.high:.0f} | {found.volume_error:+.2f} ± {wide:.2f} % "
            f"| {'yes' if holds else 'NO'} | {found.girth_rms:.1f} mm | {100 * found.girth_cover:.0f} % "
            f"| {foot_error(visit, measured)} |",
            flush=True,
        )
    if errors:
        rms = float(np.sqrt(np.mean(np.square(errors))))
        print(
            f"\n{len(errors)} of {len(sys.argv) - 1} measured, {rms:.2f} % rms, {sum(held)} intervals hold."
        )


def foot_error(visit: Rendered, measured: Measured) -> str:
    """Return the error of the foot's volume below 80 mm, or why there is none."""
    if measured.end is None:
        return next((f.text for f in measured.findings if f.code == "foot-left-out"), "")
    low = min(80.0, measured.end.part.top_mm)
    found = end_volume(measured.end.part, low)
    true = np.interp(low, *zip(*foot_volumes(visit.truth["foot"]), strict=True))
    return f"{100 * (found.mean / true - 1):+.1f} ± {196 * found.sd / true:.1f} %"


def foot_volumes(foot: dict) -> list[tuple[float, float]]:
    """Return heights (mm) and the true volumes below them (mL)."""
    return sorted((row["to"], row["ml"]) for row in foot["volumes"])


if __name__ == "__main__":
    main()
