"""From which directions a lying arm is measured best: exact outlines of 24 arms of body meshes, five tapes.

    PYTHONPATH=tests python tests/lying_study.py

Prints one row for each set of directions.  The arms are those that the sizes of the prior come from, so the
rows compare directions; they are no measure of accuracy.
"""

from dataclasses import replace

import numpy as np
from conftest import ROOT
from lying_limbs import cameras_above, lying_axis, views
from synthetic import HarmonicSolid

from digitise.errors import ShapeError
from digitise.shape.fit import fit_limb
from digitise.shape.limb import Z95, volume
from digitise.tape.rows import TapeRow

DIRECTIONS = ((45.0, 135.0), (30.0, 95.0), (60.0, 120.0), (50.0, 90.0, 130.0), (30.0, 90.0, 150.0))
EDGE_SD_PX = 0.25
STEP_MM = 10.0


def arms() -> list[tuple[HarmonicSolid, str, float]]:
    """Return every arm from the wrist on, its side, and how far it is known, mm."""
    with np.load(ROOT / "tests/data/limbs/arms-lying.npz") as file:
        sections, limbs = file["sections"] / 100.0, file["limbs"]
    parts = np.split(sections, np.cumsum(limbs[:, 4])[:-1])
    solids = [HarmonicSolid.through(STEP_MM * np.arange(len(part)), part) for part in parts]
    sides = [("left", "right")[row[1]] for row in limbs]
    return list(zip(solids, sides, [STEP_MM * len(part) for part in parts], strict=True))


def errors(directions: tuple[float, ...]) -> tuple[list[float], list[float], int]:
    """Return errors of the volume and half widths of its interval, %, and how many arms were refused."""
    axis, found, widths, refused = lying_axis(0.0, 0.0), [], [], 0
    for solid, side, end in arms():
        low, high = 20.0, end - 50.0
        cameras = cameras_above(directions, (0.0, -high / 2, 110.0))
        seen = tuple(
            replace(
                view, edges=tuple(replace(e, sd_px=np.full(len(e.points), EDGE_SD_PX)) for e in view.edges)
            )
            for view in views(solid, axis, 2.0, high + 20.0, cameras)
        )
        at = np.linspace(low, high, 5).round(-1)
        tape = tuple(TapeRow(float(z), float(np.round(solid.girth(np.array([z]))[0]))) for z in at)
        try:
            limb = fit_limb(
                seen, tape, limb="arm", side=side, axis_from_world=axis, from_mm=low, to_mm=high
            ).limb
        except ShapeError:
            refused += 1
            continue
        whole, true = volume(limb, low, high), solid.volume(low, high)
        found.append(100 * (whole.mean / true - 1))
        widths.append(100 * Z95 * whole.sd / true)
    return found, widths, refused


def main() -> None:
    print("| directions, degrees from the table | bias | rms | worst | half width | refused |")
    print("|---|---|---|---|---|---|")
    for directions in DIRECTIONS:
        found, widths, refused = errors(directions)
        worst = max(found, key=abs)
        names = ", ".join(f"{each:.0f}" for each in directions)
        rms = np.sqrt(np.mean(np.square(found)))
        print(
            f"| {names} | {np.mean(found):+.2f} % | {rms:.2f} % | {worst:+.2f} % | ± {np.mean(widths):.1f} % "
            f"| {refused} of 24 |",
            flush=True,
        )


if __name__ == "__main__":
    main()
