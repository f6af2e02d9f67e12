"""Draws whole standing legs of a parametric body model and fits how they are shaped and differ.

    python tests/leg_shapes_fit.py draw KIT legs.npz 0 390
    python tests/leg_shapes_fit.py fit legs.npz digitise/shape/standing/leg_shapes.npz

Drawing needs the package ``anny`` and the folder KIT of ``limb_sections.py``, whose bodies and swellings
these are with other seeds, and takes some five seconds a leg.  Every fifth leg is not swollen.
"""

from __future__ import annotations

import sys
import warnings

import numpy as np

from digitise.geometry.support import ellipse_overtones, mirrored_signs

SEED, STEP_MM, HARMONICS, MODES, ROUNDS = 800_000, 20.0, 6, 8, 40
TERMS = 2 * HARMONICS + 1
HEIGHTS = np.arange(60.0, 861.0, STEP_MM)
# how exactly the modes have to follow orders 0 to 6, mm: what is left beside them is known to the prior
EXACT_MM = np.repeat([0.6, 0.6, 0.72, 0.36, 0.24, 0.18, 0.12], [1, 2, 2, 2, 2, 2, 2])


def draw(kit_folder: str, out: str, first: str, last: str) -> None:
    """Draw legs with these numbers, as of left ones, and keep their sections every 20 mm."""
    import anny
    import limb_sections

    sys.path.insert(0, kit_folder)
    warnings.filterwarnings("ignore")
    import limb as kit

    limb_sections.STEP_MM = STEP_MM
    model = anny.create_fullbody_model(rig="default", local_changes="all")
    legs = {}
    for number in range(int(first), int(last)):
        rng, side = np.random.default_rng(SEED + number), ("left", "right")[number % 2]
        leg = limb_sections.Leg(kit, model, rng, side)
        layers, one_sided = limb_sections.swelling(rng)
        depth = leg.depth(layers, one_sided) if number % 5 != 4 else leg.depth(layers * 0, [])
        mesh, ankle, _, top = leg.standing(depth, rng.uniform(0, 3))
        low, high = limb_sections.window(ankle, top)
        found, _ = limb_sections.sections(kit, mesh, max(30.0, low - 40), min(high + 50, top - 2))
        sign = np.ones(TERMS) if side == "left" else mirrored_signs(HARMONICS)
        legs[f"start{number}"] = np.array(max(30.0, low - 40))
        legs[f"terms{number}"] = sign * found[:, :TERMS]
        print(number, file=sys.stderr, flush=True)
    np.savez_compressed(out, **legs)


def beyond_ellipses(terms):
    """Terms (Z, T) with orders 4 and 6 beyond the ellipse of order 2."""
    found = terms.copy()
    second = terms[:, 3] + 1j * terms[:, 4]
    turn = second / np.abs(second)
    for order, ratio in zip((4, 6), ellipse_overtones(np.abs(second) / terms[:, 0]), strict=True):
        wave = terms[:, 0] * ratio * turn ** (order // 2)
        found[:, 2 * order - 1] -= wave.real
        found[:, 2 * order] -= wave.imag
    return found


def beyond(terms):
    """Terms (Z, T) with orders 4 and 6 beyond the ellipse of order 2, and centres beside a straight line."""
    found = beyond_ellipses(terms)
    line = np.stack([np.ones(len(terms)), np.arange(len(terms))], axis=1)
    found[:, 1:3] -= line @ np.linalg.lstsq(line, found[:, 1:3], rcond=None)[0]
    return found


def read(path):
    """The legs of a file on ``HEIGHTS``, (N, T, Z); not a number where a leg does not reach."""
    legs = []
    with np.load(path) as file:
        for name in file:
            if name.startswith("terms"):
                z = file[name.replace("terms", "start")] + STEP_MM * np.arange(len(file[name]))
                rows = [np.interp(HEIGHTS, z, row, np.nan, np.nan) for row in beyond(file[name]).T]
                legs.append(rows)
    return np.array(legs)


def principal(legs):
    """Mean (T, Z) and modes (M, T, Z) of legs (N, T, Z) of which parts are missing, by expectation and
    maximisation for probabilistic principal components (Roweis 1998, from memory)."""
    exact = np.repeat(EXACT_MM, len(HEIGHTS))
    rows = legs.reshape(len(legs), -1) / exact
    seen = ~np.isnan(rows)
    mean = np.nanmean(rows, axis=0)
    _, size, ways = np.linalg.svd(np.where(seen, rows - mean, 0.0), full_matrices=False)
    modes = ways[:MODES].T * size[:MODES] / np.sqrt(len(rows))
    eye = np.eye(MODES)
    for _ in range(ROUNDS):
        square, cross = np.zeros((rows.shape[1], MODES + 1, MODES + 1)), np.zeros((rows.shape[1], MODES + 1))
        for row, here in zip(rows, seen, strict=True):
            spread = np.linalg.inv(eye + modes[here].T @ modes[here])
            place = np.append(spread @ (modes[here].T @ (row[here] - mean[here])), 1.0)
            about = np.outer(place, place)
            about[:MODES, :MODES] += spread
            square[here] += about
            cross[here] += row[here, None] * place
        solved = np.linalg.solve(square, cross[:, :, None])[:, :, 0]
        modes, mean = solved[:, :MODES], solved[:, MODES]
    shape = legs.shape[1:]
    return (mean * exact).reshape(shape), (modes * exact[:, None]).T.reshape(MODES, *shape)


def fit(legs: str, out: str) -> None:
    """Fit mean and modes to the legs of a file and write the package's file."""
    mean, modes = principal(read(legs))
    np.savez_compressed(
        out, height_mm=HEIGHTS, mean_mm=mean.astype(np.float32), modes_mm=modes.astype(np.float32)
    )


if __name__ == "__main__":
    {"draw": draw, "fit": fit}[sys.argv[1]](*sys.argv[2:])
