"""Fits the range of usual legs to charts of drawn bodies and writes the package's file.

    python tests/usual_limbs_fit.py bodies.npz [more.npz] --out digitise/care/padding/usual/usual_leg.npz

The charts come from ``tests/usual_limbs_bodies.py``, the stored file from its seeds 3001 to 3006 with
60 legs each.  The spread by place is what a robust fit leaves of bodies that had no say in the modes, what
they have of their own what all modes leave of them: five folds.
"""

from __future__ import annotations

import argparse

import numpy as np

from digitise.care.padding.usual.fit import (
    LEAST_SCALE_MM,
    UNIT_MM,
    USUAL_SLOPE_SD,
    PlacedShape,
    UsualShape,
    followed,
    with_modes,
)
from digitise.care.surface.taper import robust_taper, smooth_terms
from digitise.geometry.support import fourier

HARMONICS, MODES, FOLDS = 6, 40, 5
U = np.arange(0.0, 1.701, 0.02)
THETA = 2 * np.pi * np.arange(72) / 72
LEAST_SPREAD_MM = 0.3
# What a body has of its own is alike over some 20 of the places of a chart, 5 of
# its rows, and 0.4 mm (rms): that much a
# mode is held to how far bodies go along it (by the same bodies).
ALIKE_PLACES, ALIKE_ROWS, OWN_MM = 20.0, 5.0, 0.4


def read(paths):
    """Harmonics by height (N, U, K), joints (N, 2), and the charts themselves, of the bodies in files."""
    terms = fourier(THETA, HARMONICS)
    take = terms * np.where(np.arange(terms.shape[1]) == 0, 1.0, 2.0) / len(THETA)
    harmonics, joints, charts = [], [], []
    for path in paths:
        stored = np.load(path)
        for number in range(sum(name.startswith("z") for name in stored)):
            z, h = stored[f"z{number}"], stored[f"h{number}"]
            ankle, knee = stored[f"marks{number}"]
            u = (z - ankle) / (knee - ankle)
            rows = [np.interp(U, u, column, right=np.nan) for column in (h @ take).T]
            harmonics.append(np.array(rows).T * UNIT_MM / (knee - ankle))
            joints.append((ankle, knee - ankle))
            charts.append((z, h))
    return np.array(harmonics), np.array(joints), charts


def standing(harmonics):
    """The same with where a body stands and how its axis leans taken out."""
    out = harmonics.copy()
    line = np.stack([np.ones_like(U), U], axis=1)
    for body in out:
        seen = ~np.isnan(body[:, 0])
        for order in (1, 2):
            body[:, order] -= line @ np.linalg.lstsq(line[seen], body[seen, order], rcond=None)[0]
    return out


def filled(harmonics, rounds=25):
    """Bodies whose thigh ends early, completed from the others by their own modes, each held to its sd."""
    missing = np.isnan(harmonics)
    out = np.where(missing, np.nanmean(harmonics, axis=0), harmonics)
    short = np.flatnonzero(missing.any(axis=(1, 2)))
    for _ in range(rounds):
        mean, modes, sd = components(out)
        for body in short:
            seen = ~missing[body].ravel()
            level, known = (out[body] - mean).ravel()[seen], modes[:, seen]
            along = np.linalg.solve(known @ known.T + np.diag(ALIKE_ROWS * OWN_MM**2 / sd**2), known @ level)
            out[body] = np.where(missing[body], mean + (along @ modes).reshape(mean.shape), harmonics[body])
    return out


def components(harmonics):
    """Mean (U, K), modes (M, U K) of unit length and their sd (M,)."""
    mean = harmonics.mean(axis=0)
    _, size, modes = np.linalg.svd((harmonics - mean).reshape(len(harmonics), -1), full_matrices=False)
    return mean, modes[:MODES], size[:MODES] / np.sqrt(len(harmonics) - 1)


def shape_of(harmonics, joints, spread, own, fall):
    mean, modes, sd = components(harmonics)
    size = np.abs(modes).max(axis=1)
    modes = modes.reshape(MODES, len(U), -1) / size[:, None, None]
    both = np.stack([joints.mean(axis=0), joints.std(axis=0)], axis=1)
    return UsualShape(U, mean, modes, sd * size, spread, own, fall, both)


def left_over(shape, chart, joints):
    """What is left (U, T) of a body after its own fit, mm for a shank of UNIT_MM; nan where there is none."""
    z, h = chart[0][::2], chart[1][::2]
    coarse = followed(shape)
    on = PlacedShape(coarse, THETA, z, *joints)
    terms, penalty = smooth_terms(THETA, z, USUAL_SLOPE_SD)
    whole = np.concatenate([terms, on.modes], axis=1)
    taper = robust_taper(
        THETA, z, h - on.mean, whole, with_modes(penalty, coarse.mode_sd), on.inside, LEAST_SCALE_MM
    )
    left = taper.stand_out(h - on.mean)
    u = (z - joints[0]) / joints[1]
    rows = np.array([np.interp(U, u, column, left=np.nan, right=np.nan) for column in left.T]).T
    return rows * UNIT_MM / joints[1]


def own_of(shape, harmonics, seen):
    """What all modes leave (U, T) of a body (U, K) where it was seen, mm; nan elsewhere."""
    terms = fourier(THETA, HARMONICS)
    modes = (shape.modes[:, seen] @ terms.T).reshape(MODES, -1)
    level = ((harmonics - shape.mean)[seen] @ terms.T).ravel()
    held = np.diag(ALIKE_PLACES * OWN_MM**2 / shape.mode_sd**2)
    left = np.full((len(U), len(THETA)), np.nan)
    left[seen] = (level - np.linalg.solve(modes @ modes.T + held, modes @ level) @ modes).reshape(
        -1, len(THETA)
    )
    return left


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("files", nargs="+")
    parser.add_argument("--out", required=True)
    asked = parser.parse_args()
    harmonics, joints, charts = read(asked.files)
    seen = ~np.isnan(harmonics[:, :, 0])
    harmonics = filled(standing(harmonics))
    blank = np.ones((len(U), len(THETA)))
    left, own = (np.empty((len(harmonics), *blank.shape)) for _ in range(2))
    for fold in range(FOLDS):
        out = np.arange(len(harmonics)) % FOLDS == fold
        shape = shape_of(harmonics[~out], joints[~out], blank, blank, U)
        for number in np.flatnonzero(out):
            left[number] = left_over(shape, charts[number], joints[number])
            own[number] = own_of(shape, harmonics[number], seen[number])
    spread, own = (np.maximum(np.sqrt(np.nanmean(x**2, axis=0)), LEAST_SPREAD_MM) for x in (left, own))
    girth = 2 * np.pi * harmonics[:, :, 0]
    low = int(np.searchsorted(U, 0.02))
    lost = np.zeros_like(girth)
    lost[:, low:] = np.maximum.accumulate(girth[:, low:], axis=1) - girth[:, low:]
    lost[~seen] = np.nan
    shape = shape_of(harmonics, joints, spread, own, np.nanquantile(lost, 0.98, axis=0))
    np.savez_compressed(asked.out, **{n: np.float32(getattr(shape, n)) for n in UsualShape.__annotations__})
    print(
        len(harmonics),
        "bodies; left over by height, mm:",
        spread.mean(axis=1)[::5].round(2),
        "most",
        spread.max().round(2),
        "own, mm:",
        own.mean(axis=1)[::5].round(2),
        "most",
        own.max().round(2),
    )
    print("girth lost, mm:", shape.fall[::5].round(0), "joints", shape.joints.round(0))


if __name__ == "__main__":
    main()
