"""Fit what feet without swelling are among all that the usual foot can be: writes usual_build.npz.

The usual foot's modes hold swelling.  Here bodies of every build without any are told by those modes: their
mean and covariance, by which a measured foot is held against what it would be without.  Runs in the
environment of ``usual_feet.py``.

    python unswollen_feet.py FOLDER_OF_LIMB_PY 400 usual_foot.npz usual_build.npz
"""

from __future__ import annotations

import sys
import warnings

import numpy as np
from usual_feet import KEPT_TOP_MM, SEED, bodies, stood, swollen

OTHER_SEED = 29


def feet(limbs, count, seed, swell):
    rng = np.random.default_rng(seed)
    for vertices, faces, ankle, toe in bodies(limbs, count, rng):
        own = swollen(vertices, faces, ankle, toe, rng) if swell else vertices
        yield stood(limbs, own, ankle, toe, rng), faces


def main(folder, count, usual, out):
    warnings.filterwarnings("ignore")
    sys.path.insert(0, folder)
    import limb as limbs

    stored = np.load(usual)
    mean, modes = stored["mean"].astype(float), stored["modes"].astype(float)
    every = list(feet(limbs, int(count), OTHER_SEED, False))
    faces = every[0][1]
    # the vertices that the usual foot kept: those of low faces of the mean of its own bodies
    some = np.mean([vertices for vertices, _ in feet(limbs, int(count), SEED, True)], axis=0)
    used = np.unique(faces[some[:, 2][faces].max(axis=1) < KEPT_TOP_MM])
    if len(used) != len(mean):
        raise SystemExit(f"{len(used)} vertices, the usual foot has {len(mean)}: make both with one count")
    flat = modes.reshape(len(modes), -1)
    off = np.array([(vertices[used] - mean).ravel() for vertices, _ in every])
    told = np.linalg.lstsq(flat.T, off.T, rcond=None)[0].T
    left = np.sqrt(np.mean((off - told @ flat) ** 2))
    print(f"{len(off)} feet, {left:.2f} mm rms left beside the modes")
    np.savez_compressed(
        out, mean=told.mean(axis=0).astype(np.float32), covariance=np.cov(told.T).astype(np.float32)
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
