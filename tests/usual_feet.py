"""Fit what feet usually are to feet of a parametric body: writes digitise/shape/foot/usual_foot.npz.

Runs in an environment of its own, with ``anny`` (parametric body, CC0 data) and ``trimesh``; the folder of
``limb.py``, which stands a body on its soles, is the first argument.

    python usual_feet.py FOLDER_OF_LIMB_PY 400 usual_foot.npz

Every body differs in build, in its foot's proportions and in swelling: over the whole foot, on its back,
round the ankle, of random size and place.  The shank leans a little, and the sole is pressed flat.
"""

from __future__ import annotations

import contextlib
import io
import sys
import warnings

import numpy as np

SEED, TOP_MM, KEPT_TOP_MM, MODES = 11, 300.0, 175.0, 30
LOCAL = (
    "l-foot-scale-horiz-incr", "l-foot-scale-vert-incr", "l-foot-scale-depth-incr", "l-foot-scale-incr",
    "measure-ankle-circ-incr", "measure-calf-circ-incr", "l-lowerleg-fat-incr", "l-lowerleg-muscle-incr",
    "l-lowerleg-scale-horiz-incr", "l-lowerleg-scale-depth-incr",
)  # fmt: skip


def ramp(x, low, high):
    share = np.clip((x - low) / (high - low), 0, 1)
    return share * share * (3 - 2 * share)


def bodies(limbs, count, rng):
    """Vertices (mm, toes towards +y), joints and, once, faces of random adults' left lower legs."""
    import anny
    import trimesh

    with contextlib.redirect_stdout(io.StringIO()):
        model = anny.create_fullbody_model(rig="default", local_changes="all")
    faces = limbs._triangles(np.asarray(model.faces))

    def body(phenotype, local):
        with contextlib.redirect_stdout(io.StringIO()):
            found = model(phenotype_kwargs={**limbs.BODY_DEFAULTS, **phenotype}, local_changes_kwargs=local)
        vertices = found["vertices"][0].detach().numpy().astype(float) * 1000
        heads = found["bone_poses"][0].detach().numpy()[:, :3, 3].astype(float) * 1000
        half_turn, rise = np.array([-1.0, -1.0, 1.0]), np.array([0.0, 0.0, -vertices[:, 2].min()])
        return vertices * half_turn + rise, dict(
            zip(model.bone_labels, heads * half_turn + rise, strict=True)
        )

    vertices, joints = body({}, {})
    kept = faces[vertices[faces][:, :, 2].max(axis=1) < TOP_MM]
    mesh = trimesh.Trimesh(vertices, kept, process=False)
    groups = trimesh.graph.connected_components(mesh.face_adjacency, nodes=np.arange(len(kept)), min_len=50)
    foot = joints["foot.L"]
    near = min(groups, key=lambda g: np.linalg.norm(mesh.triangles_center[g] - foot, axis=1).min())
    used, own = np.unique(kept[near], return_inverse=True)
    for _ in range(count):
        names = ("gender", "muscle", "weight", "height", "proportions")
        phenotype = {name: float(rng.uniform(0.05, 0.95)) for name in names}
        phenotype["age"] = float(rng.uniform(0.55, 0.95))
        vertices, joints = body(phenotype, {name: float(rng.uniform(-0.4, 0.4)) for name in LOCAL})
        fine, triangles = trimesh.remesh.subdivide_loop(vertices[used], own.reshape(-1, 3), iterations=1)
        yield np.asarray(fine), np.asarray(triangles), joints["foot.L"], joints["toe2-1.L"]


def swollen(vertices, faces, ankle, toe, rng):
    """Push the surface out along smoothed normals, at random."""
    import trimesh

    mesh = trimesh.Trimesh(vertices, faces, process=False)
    normals = np.array(mesh.vertex_normals)
    neighbours = trimesh.smoothing.laplacian_calculation(mesh, equal_weight=True)
    for _ in range(6):
        normals = neighbours.dot(normals)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    axis = (toe - ankle)[:2]
    length = np.linalg.norm(axis)
    along = (vertices[:, :2] - ankle[:2]) @ axis / length**2
    across = (vertices[:, :2] - ankle[:2]) @ np.array([axis[1], -axis[0]]) / length
    z = vertices[:, 2]
    out = np.zeros(len(vertices))
    if rng.random() < 0.7:
        clear_of_toes = 1 - ramp(along, rng.uniform(0.6, 0.9), rng.uniform(1.0, 1.2))
        out += abs(rng.normal(0, 6)) * ramp(z, rng.uniform(0, 25), rng.uniform(50, 110)) * clear_of_toes
    if rng.random() < 0.6:
        middle, width, beside = rng.uniform(0.2, 0.9), rng.uniform(0.3, 0.6), rng.normal(0, 12)
        bell = np.exp(-0.5 * (4 * ((along - middle) / width) ** 2 + ((across - beside) / 45) ** 2))
        upper = ramp(normals[:, 2], -0.1, 0.6) * (1 - ramp(z, ankle[2], ankle[2] + 60))
        out += abs(rng.normal(0, 9)) * bell * upper
    if rng.random() < 0.5:
        ring = np.exp(-0.5 * ((z - ankle[2] - rng.uniform(-20, 20)) / 22) ** 2)
        out += abs(rng.normal(0, 6)) * ring * (1 - ramp(along, 0.2, 0.6))
    return vertices + normals * out[:, None]


def stood(limbs, vertices, ankle, toe, rng):
    """Lean the shank, press the sole flat, vary proportions, turn the toes to +y, centre the footprint."""
    lean = np.tan(np.radians(rng.normal(0, 3, 2)))
    above = ramp(vertices[:, 2], ankle[2] - 45, ankle[2] + 45) * (vertices[:, 2] - ankle[2])
    vertices = vertices + np.column_stack([lean[0] * above, lean[1] * above, np.zeros(len(vertices))])
    vertices, _ = limbs.bear_weight(vertices, sink=rng.uniform(5, 9))
    vertices = (vertices - [ankle[0], ankle[1], 0.0]) * np.exp(rng.normal(0, [0.05, 0.04, 0.06]))
    turn = np.pi / 2 - np.arctan2(*(toe - ankle)[1::-1])
    vertices[:, :2] = (
        vertices[:, :2] @ np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]).T
    )
    low = vertices[vertices[:, 2] < 60]
    vertices[:, :2] -= (low.min(axis=0) + low.max(axis=0))[:2] / 2
    return vertices


def main(folder, count, out):
    warnings.filterwarnings("ignore")
    sys.path.insert(0, folder)
    import limb as limbs

    rng = np.random.default_rng(SEED)
    every = []
    for vertices, faces, ankle, toe in bodies(limbs, int(count), rng):
        every.append(stood(limbs, swollen(vertices, faces, ankle, toe, rng), ankle, toe, rng))
    feet = np.array(every)
    low = feet.mean(axis=0)[:, 2][faces].max(axis=1) < KEPT_TOP_MM
    used, own = np.unique(faces[low], return_inverse=True)
    mean = feet[:, used].mean(axis=0)
    _, size, modes = np.linalg.svd((feet[:, used] - mean).reshape(len(feet), -1), full_matrices=False)
    sd = size / np.sqrt(len(feet) - 1)
    np.savez_compressed(
        out,
        mean=mean.astype(np.float32),
        modes=(modes[:MODES] * sd[:MODES, None]).reshape(MODES, -1, 3).astype(np.float16),
        faces=own.reshape(-1, 3).astype(np.uint16),
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
