"""Support charts of limbs of a parametric body, to fit what limbs usually are and to try it on others.

Runs in an environment of its own, with ``anny`` (parametric body, CC0 data) and ``trimesh``; the folder of
``limb.py``, which turns a body into a standing leg or arm, is the first argument.

    python usual_limbs_bodies.py FOLDER_OF_LIMB_PY leg 60 1 out.npz [swollen]
"""

from __future__ import annotations

import sys

import numpy as np

STEP_MM, DIRECTIONS = 4.0, 72


def body_of(rng):
    """A random adult body, slim to heavy, and how it differs from that locally."""
    names = ("gender", "muscle", "weight", "height", "proportions")
    body = {name: float(rng.uniform(0.1, 0.9)) for name in names}
    body["age"] = float(rng.uniform(0.55, 0.95))
    return body


def chart(mesh, low, high, trimesh):
    """Heights (Z,) and support distances (Z, T) of the sections' hulls."""
    theta = 2 * np.pi * np.arange(DIRECTIONS) / DIRECTIONS
    normals = np.stack([np.cos(theta), np.sin(theta)])
    z = np.arange(low, high, STEP_MM)
    rows = []
    for height in z:
        cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1.0], [0, 0, float(height) + 1e-4])
        rows.append((cut.reshape(-1, 3)[:, :2] @ normals).max(axis=0))
    return z, np.array(rows)


def swelling_of(rng):
    """Swelling all over and, of three parts of the leg, round some: mm."""
    parts = {
        name: float(rng.uniform(3, 12)) for name in ("calf", "gaiter", "above_knee") if rng.random() < 0.6
    }
    return {**parts, "overall": float(rng.uniform(0, 8))}


def main(folder, kind, count, seed, out, swollen=""):
    sys.path.insert(0, folder)
    import limb as limbs
    import trimesh

    rng = np.random.default_rng(int(seed))
    saved = {}
    for number in range(int(count)):
        body = body_of(rng)
        if kind == "leg":
            swelling = swelling_of(rng) if swollen else {}
            flex = float(rng.uniform(0, 4))
            mesh, marks = limbs.leg(body, "left", flex=flex, levels=2, swelling=swelling)
            low, high = 60.0, min(marks["top"] - 10, marks["knee"] + 330)
        else:
            mesh, marks = limbs.arm(body, "left", levels=2)
            low, high = marks["wrist"] - 10, marks["top"] - 10
        turn = rng.normal(0, np.radians(4.0))
        c, s = np.cos(turn), np.sin(turn)
        mesh.vertices = mesh.vertices @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]]).T
        z, h = chart(mesh, low, high, trimesh)
        saved[f"z{number}"], saved[f"h{number}"] = z, h
        saved[f"marks{number}"] = np.array(
            [marks.get("ankle", marks.get("wrist")), marks.get("knee", marks.get("elbow"))]
        )
        print(number, body, marks, flush=True)
        np.savez_compressed(out, **saved)


if __name__ == "__main__":
    main(*sys.argv[1:])
