"""Settle the shares with which foot and hand follow from the tape alone, as ``digitise/tape/ends.py`` holds.

Runs in an environment of its own, with ``anny`` (parametric body, CC0 data) and ``trimesh``; the folder of
``limb.py``, which stands a body on its soles, is the first argument.  Half of
the bodies settle, the others tell.

    python taped_ends_fit.py FOLDER_OF_LIMB_PY 400 300 data/limbs
"""

from __future__ import annotations

import contextlib
import io
import sys
import warnings
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq
from scipy.spatial import ConvexHull
from usual_feet import bodies, ramp, stood, swollen

FOOT_SEED, HAND_SEED = 11, 17
UP, TOES = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
HEIGHTS = np.arange(90.0, 161.0, 10.0)
BALL_FORM, PALM_FORM, WRIST_FORM, SLANT_MIDDLE = 0.71, 0.71, 0.96, 0.135
HAND = (
    "l-hand-fingers-length-incr", "l-hand-scale-incr", "l-hand-fingers-diameter-incr",
    "l-hand-fingers-distance-incr", "measure-wrist-circ-incr", "l-lowerarm-fat-incr",
)  # fmt: skip


def crossed(vertices, edges, origin, normal):
    off = (vertices - origin) @ normal
    near, far = off[edges[:, 0]], off[edges[:, 1]]
    over = (near < 0) != (far < 0)
    share = (near[over] / (near[over] - far[over]))[:, None]
    start, end = vertices[edges[over, 0]], vertices[edges[over, 1]]
    return start + share * (end - start)


def girth(points, normal):
    across = np.cross(normal, UP) if abs(normal[2]) < 0.99 else np.array([1.0, 0.0, 0.0])
    across /= np.linalg.norm(across)
    return ConvexHull(points @ np.column_stack([across, np.cross(normal, across)])).area


def volume(vertices, faces, inward, top):
    """mL on one side of a plane across z, open there."""
    from trimesh.intersections import slice_faces_plane

    kept, triangles, _ = slice_faces_plane(vertices, faces, inward * UP, top * UP)
    corners = kept[triangles]
    area = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return abs(float(np.sum(area[:, 0] * corners.mean(axis=1)[:, 0]))) / 1000


def foot_rows(vertices, faces, rng):
    """Readings (length, ball, heel and instep, height, leg) and the volume at each height of one foot."""
    edges = np.unique(
        np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), 1), axis=0
    )
    low = vertices[vertices[:, 2] < 80]
    heel, length = low[:, 1].min(), np.ptp(low[:, 1])
    edge = low[np.argmin(low @ (TOES + UP))]
    slants = [np.cos(a) * UP - np.sin(a) * TOES for a in np.radians(np.arange(30.0, 71.0, 4.0))]
    instep = min(girth(crossed(vertices, edges, edge, normal), normal) for normal in slants)
    for height in HEIGHTS:
        at = heel + 0.7 * length + rng.normal(0, 6)
        ball = crossed(vertices, edges, at * TOES, TOES)
        leg = girth(crossed(vertices, edges, (height + rng.normal(0, 3)) * UP, UP), UP)
        read = np.array([girth(ball[ball[:, 2] < 120], TOES), instep, leg]) + rng.normal(0, 2.5, 3)
        yield (
            length + rng.normal(0, 3),
            read[0],
            read[1],
            height,
            read[2],
            volume(vertices, faces, -1, height),
        )


def foot_ml(rows, slant_form):
    length, ball, heel, height, leg = rows[:, :5].T
    low, slant, top = (f * g**2 / (4 * np.pi) for f, g in ((BALL_FORM, ball), (slant_form, heel), (1.0, leg)))
    middle = SLANT_MIDDLE * heel
    fore, up = frustum(low, slant, 0.7 * length - middle), frustum(slant, top, height - middle)
    return (0.2 * length * low + fore + up) / 1000


def frustum(first, second, length):
    return (first + np.sqrt(first * second) + second) / 3 * length


def hand_rows(limbs, count, rng):
    """Readings (length, palm, wrist) and volume of random adults' hands, swollen at random."""
    import anny
    import trimesh

    with contextlib.redirect_stdout(io.StringIO()):
        model = anny.create_fullbody_model(rig="default", local_changes="all")
    faces, used = limbs._triangles(np.asarray(model.faces)), None
    while count:
        kinds = ("gender", "muscle", "weight", "height", "proportions")
        phenotype = {kind: float(rng.uniform(0.05, 0.95)) for kind in kinds} | {
            "age": rng.uniform(0.55, 0.95)
        }
        local = {name: float(rng.uniform(-0.4, 0.4)) for name in HAND}
        with contextlib.redirect_stdout(io.StringIO()):
            found = model(phenotype_kwargs={**limbs.BODY_DEFAULTS, **phenotype}, local_changes_kwargs=local)
        vertices = found["vertices"][0].detach().numpy().astype(float) * 1000
        heads = found["bone_poses"][0].detach().numpy()[:, :3, 3].astype(float) * 1000
        joints = dict(zip(model.bone_labels, heads, strict=True))
        wrist = joints["wrist.L"]
        if used is None:
            near = faces[(np.linalg.norm(vertices - wrist, axis=1) < 300)[faces].all(axis=1)]
            mesh = trimesh.Trimesh(vertices, near, process=False)
            groups = trimesh.graph.connected_components(
                mesh.face_adjacency, nodes=np.arange(len(near)), min_len=50
            )
            to = joints["finger3-1.L"]
            own = min(groups, key=lambda g: np.linalg.norm(mesh.triangles_center[g] - to, axis=1).min())
            used, inner = np.unique(near[own], return_inverse=True)
        knuckles = [joints[f"finger{n}-1.L"] - wrist for n in (2, 3, 4, 5)]
        z = np.mean(knuckles, axis=0)
        z /= np.linalg.norm(z)
        x = (knuckles[0] - knuckles[3]) - ((knuckles[0] - knuckles[3]) @ z) * z
        frame = np.stack([x / np.linalg.norm(x), np.cross(z, x / np.linalg.norm(x)), z])
        fine, triangles = trimesh.remesh.subdivide_loop(vertices[used], inner.reshape(-1, 3), iterations=1)
        fingers = [(joints[f"finger3-{n}.L"] - wrist) @ frame.T for n in (1, 2, 3)]
        level = float(np.mean(knuckles @ z))
        row = hand_row((fine - wrist) @ frame.T, np.asarray(triangles), level, fingers, rng)
        if row is not None:
            count -= 1
            yield row


def hand_row(points, faces, level, fingers, rng):
    import trimesh

    points = hand_swollen(points, faces, level, rng) * np.exp(rng.normal(0, [0.05, 0.06, 0.04]))
    mesh = trimesh.Trimesh(points, faces, process=False)

    def widest(height):
        lines = trimesh.load_path(trimesh.intersections.mesh_plane(mesh, UP, height * UP)).discrete
        hulls = [ConvexHull(np.asarray(line)[:, :2]) for line in lines if len(line) > 5]
        return max(hulls, key=lambda hull: hull.volume, default=None)

    palm, wrist = widest(0.92 * level), widest(2.0)
    if palm is None or wrist is None:
        return None
    chain = [np.zeros(3), *fingers]
    along = (chain[3] - chain[2]) / np.linalg.norm(chain[3] - chain[2])
    tip = ((points - chain[3]) @ along)[np.linalg.norm(points - chain[3], axis=1) < 45].max()
    length = tip + sum(np.linalg.norm(b - a) for a, b in pairwise(chain))
    girths = np.array([palm.area, wrist.area]) + rng.normal(0, 2.5, 2)
    return length + rng.normal(0, 3), *girths, volume(points, faces, 1, 0.0)


def hand_swollen(points, faces, level, rng):
    import trimesh

    mesh = trimesh.Trimesh(points, faces, process=False)
    normals, neighbours = np.array(mesh.vertex_normals), trimesh.smoothing.laplacian_calculation(mesh, True)
    for _ in range(4):
        normals = neighbours.dot(normals)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    z, out = points[:, 2], np.zeros(len(points))
    if rng.random() < 0.6:
        out += abs(rng.normal(0, 4)) * (1 - 0.7 * ramp(z, 0.9 * level, 1.5 * level))
    if rng.random() < 0.5:
        side, middle = rng.choice([-1, 1]), rng.uniform(0.2, 1) * level
        bell = np.exp(-0.5 * ((z - middle) / 35) ** 2)
        out += abs(rng.normal(0, 6)) * bell * ramp(side * normals[:, 1], -0.1, 0.6)
    if rng.random() < 0.4:
        out += abs(rng.normal(0, 1.5)) * ramp(z, level, 1.2 * level)
    return points + normals * out[:, None]


def hand_ml(rows, fingers_form):
    length, palm, wrist = rows[:, :3].T
    across, low = PALM_FORM * palm**2 / (4 * np.pi), WRIST_FORM * wrist**2 / (4 * np.pi)
    return (frustum(low, across, length / 2) + fingers_form * across * length / 2) / 1000


def settle(rows, model, name):
    """Print the share and how well it does, and return the rows that did not settle it."""
    half = len(rows) // 2
    form = brentq(lambda f: np.log(model(rows[:half], f) / rows[:half, -1]).mean(), 0.2, 2.0)
    off = model(rows, form) / rows[:, -1] - 1
    own, others = (np.sqrt(np.mean(part**2)) for part in (off[:half], off[half:]))
    print(f"{name}: share {form:.2f}; rms on those settled on {own:.1%}, on the others {others:.1%}")
    return rows[half:]


def write(path, head, rows):
    np.savetxt(path, rows, "%.1f", ",", header=head, comments="")


def main(folder, feet, hands, out):
    warnings.filterwarnings("ignore")
    sys.path.insert(0, folder)
    import limb as limbs

    rng, rows = np.random.default_rng(FOOT_SEED), []
    for vertices, faces, ankle, toe in bodies(limbs, int(feet), rng):
        stands = stood(limbs, swollen(vertices, faces, ankle, toe, rng), ankle, toe, rng)
        rows += foot_rows(stands, faces, rng)
    others = settle(np.array(rows), foot_ml, "foot, heel and instep")
    # each foot once, its heights by turns
    turn = np.arange(len(others)) % len(HEIGHTS) == np.arange(len(others)) // len(HEIGHTS) % len(HEIGHTS)
    write(
        f"{out}/taped-feet.csv", "length_mm,ball_mm,heel_instep_mm,height_mm,leg_mm,volume_ml", others[turn]
    )
    rows = list(hand_rows(limbs, int(hands), np.random.default_rng(HAND_SEED)))
    others = settle(np.array(rows), hand_ml, "hand, fingers")
    write(f"{out}/taped-hands.csv", "length_mm,palm_mm,wrist_mm,volume_ml", others)


if __name__ == "__main__":
    main(*sys.argv[1:])
