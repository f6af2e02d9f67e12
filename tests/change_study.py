"""How far stated changes lie from true ones: ``python tests/change_study.py "as measured"``.

Every pair of body meshes in ``tests/data/limbs`` is seen at two visits (:mod:`mesh_limbs`), fitted and
compared by the program. What comes out is kept in ``tests/data/limbs/change.json``, from which
``tests/accuracy.py`` makes its tables. No choice was taken by the pairs from number 36 on. It takes some
three seconds a pair, with four photographs eight.
``python tests/change_study.py NAME [FIRST LAST]`` measures the pairs of these numbers only; NAME is one of
``HOW``, ``third`` or ``tape``.
"""

from __future__ import annotations

import json
import sys
from dataclasses import replace

import numpy as np
from conftest import ROOT
from greatest_change import greatest_change_height
from mesh_limbs import AS_MEASURED, POOR_EDGES, TURNS, BodyLimb, Errors, limbs, visits, volume_change

from digitise.care.change.compare import compare
from digitise.shape.fit import fit_limb
from digitise.shape.limb import Limb, volume
from digitise.shape.priors import SectionPrior
from digitise.shape.scene import LEAN_SD_DEG, SHIFT_SD_MM
from digitise.tape.volumes import cone_volume_ml

RESULTS = ROOT / "tests/data/limbs/change.json"
FIRST_KEPT = 36
CONE_REACH_MM = 150.0
# a part of the greatest change of girth that counts as the place of it
_PLACE = 0.9
# between front and side on either side: both photographs once more after an eighth of a turn
BOTH_BETWEEN = (45.0, 135.0)
# as standing people do between photographs a minute apart
SWAYING = replace(AS_MEASURED, shift=SHIFT_SD_MM, lean=LEAN_SD_DEG)
HOW: dict[str, tuple[Errors, float, tuple[float, ...]]] = {
    "as measured": (AS_MEASURED, 6.0, ()),
    "poor edges": (POOR_EDGES, 6.0, ()),
    "square": (AS_MEASURED, 1.5, ()),
    "swaying": (SWAYING, 6.0, ()),
    "four": (AS_MEASURED, 6.0, BOTH_BETWEEN),
    "four, swaying": (SWAYING, 6.0, BOTH_BETWEEN),
}


def fitted(limb: BodyLimb, errors: Errors, prior: SectionPrior | None = None, **how) -> list[Limb]:
    """Return the limb as the program finds it at every visit; ``prior`` stands for what it would take."""
    return [
        fit_limb(
            visit.views,
            visit.tape,
            side=limb.side,
            from_mm=limb.low,
            to_mm=limb.high,
            camera_modes=visit.camera_modes,
            prior=prior,
        ).limb
        for visit in visits(limb, errors, **how)
    ]


def judged(limb: BodyLimb, errors: Errors, spread: float, between: tuple[float, ...]) -> dict:
    """Return one pair's errors; percent of the first volume of the whole or of the segment."""
    first, second = fitted(limb, errors, spread=spread, between=between)
    change = compare(first, second)
    true_ml, true_change = volume_change(limb, limb.low, limb.high)
    apart = [volume(one, limb.low, limb.high) for one in (first, second)]
    parts = []
    for part in change.parts:
        own_ml, own = volume_change(limb, part.segment.low, part.segment.high)
        each = [float(volume(one, part.segment.low, part.segment.high).mean) for one in (first, second)]
        parts.append(
            {
                "name": part.segment.name,
                "error": _percent(float(part.change_ml.mean) - own, own_ml),
                "half": _percent(1.96 * float(part.change_ml.sd), own_ml),
                "subtracted": _percent(each[1] - each[0] - own, own_ml),
            }
        )
    z = change.girths.height_mm
    girths = 2 * np.pi * np.subtract(*(solid.coefficients(z)[:, 0] for solid in limb.solids[::-1]))
    missed = np.asarray(change.girths.change_mm.mean) - girths
    near = z[np.abs(girths) >= _PLACE * np.abs(girths).max()]
    place = greatest_change_height(change.girths, limb.low, limb.high)
    turn, turn_sd = change.alignment.turn_degrees
    return {
        "pair": limb.number,
        "true": _percent(true_change, true_ml),
        "error": _percent(float(change.whole.change_ml.mean) - true_change, true_ml),
        "half": _percent(1.96 * float(change.whole.change_ml.sd), true_ml),
        "verdict": change.whole.verdict.value,
        "subtracted": _percent(float(apart[1].mean - apart[0].mean) - true_change, true_ml),
        "volumes": [
            _percent(float(v.mean) - t, t)
            for v, t in zip(apart, (true_ml, true_ml + true_change), strict=True)
        ],
        "volume_half": [_percent(1.96 * float(v.sd), true_ml) for v in apart],
        "parts": parts,
        "girth_rms_mm": round(float(np.sqrt(np.mean(missed**2))), 3),
        "girth_cover": round(
            float(np.mean(np.abs(missed) <= 1.96 * np.asarray(change.girths.change_mm.sd))), 3
        ),
        "place_off_mm": round(float(np.min(np.abs(near - place))), 1),
        "turn_error": round(turn + TURNS[limb.number % len(TURNS)], 2),
        "turn_sd": round(turn_sd, 2),
    }


def _percent(part: float, whole: float) -> float:
    return round(100.0 * part / whole, 4)


def third_photograph(limb: BodyLimb) -> dict:
    """Return the error of the first volume from two photographs, a third and both between them, percent."""
    once = replace(limb, solids=limb.solids[:1])
    true = limb.solids[0].volume(limb.low, limb.high)
    outer = 45.0 if limb.side == "right" else 135.0
    found = {}
    for name, between in (
        ("two", ()),
        ("front-outer", (outer,)),
        ("front-inner", (180.0 - outer,)),
        ("both", BOTH_BETWEEN),
    ):
        stated = volume(fitted(once, AS_MEASURED, between=between)[0], limb.low, limb.high)
        found[name] = [_percent(float(stated.mean) - true, true), _percent(1.96 * float(stated.sd), true)]
    return {"pair": limb.number, **found}


def tape_alone(limb: BodyLimb) -> dict:
    """Return the error of the change from cones between the same tape rows, percent of the first volume."""
    both = visits(limb, AS_MEASURED)
    cones = [cone_volume_ml(visit.tape, limb.low, limb.high, reach_mm=CONE_REACH_MM) for visit in both]
    true_ml, true_change = volume_change(limb, limb.low, limb.high)
    return {"pair": limb.number, "error": _percent(cones[1] - cones[0] - true_change, true_ml)}


def keep(name: str, found: dict) -> None:
    """Put what was found of one pair in its place in the file of results."""
    kept = json.loads(RESULTS.read_text()) if RESULTS.exists() else {}
    others = [one for one in kept.get(name, []) if one["pair"] != found["pair"]]
    kept[name] = sorted([*others, found], key=lambda one: one["pair"])
    RESULTS.write_text(json.dumps(kept, indent=0) + "\n")


def main(name: str, first: str = "0", last: str = "1000") -> None:
    """Measure the pairs numbered ``first`` to ``last`` in the way called ``name``, and keep what is found."""
    for limb in limbs("pair"):
        if int(first) <= limb.number <= int(last):
            other = {"third": third_photograph, "tape": tape_alone}.get(name)
            keep(name, judged(limb, *HOW[name]) if other is None else other(limb))
            print(name, limb.number, file=sys.stderr, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
