"""Fit what hands usually are to hands of a parametric body: writes digitise/shape/hand/usual_hand.npz.

Runs in an environment of its own, with ``anny`` (parametric body, CC0 data), ``scipy`` and ``trimesh``.

    python usual_hands.py 400 usual_hand.npz

Every hand lies with its palm on the mat and differs in build, in its proportions, in how its fingers are
spread and bent and its thumb is held, in how the forearm leaves it, and in swelling: of the whole hand, of
its back, of its fingers, of random size and place.
"""

from __future__ import annotations

import contextlib
import io
import sys
import warnings
from functools import lru_cache

import numpy as np
import trimesh
from scipy.spatial import ConvexHull, cKDTree
from scipy.spatial.transform import Rotation

SEED, MODES = 12, 45
FOREARM_MM, KEPT_MM = 135.0, 95.0
LOCAL = (
    "l-hand-fingers-length-incr", "l-hand-scale-incr", "l-hand-fingers-diameter-incr",
    "l-hand-fingers-distance-incr", "measure-wrist-circ-incr",
)  # fmt: skip
POINTS = ("wrist", "finger2-1", "finger3-1", "finger4-1", "finger5-1", "finger3-3")
SPREAD = {2: 3.5, 3: 0.0, 4: -1.5, 5: -3.0}  # of each finger, in ratio; from nearly closed to wide
PARTS = {"wrist": 1, "metacarpal": 1, "finger1": 2, "finger2": 3, "finger3": 4, "finger4": 5, "finger5": 6}


def unit(v):
    return v / np.linalg.norm(v)


def ramp(x, low, high):
    share = np.clip((x - low) / (high - low), 0, 1)
    return share * share * (3 - 2 * share)


@lru_cache(maxsize=1)
def model():
    import anny

    warnings.filterwarnings("ignore")
    with contextlib.redirect_stdout(io.StringIO()):
        return anny.create_fullbody_model(rig="default", local_changes="all")


def usual_pose():
    """Degrees by which every joint differs from the body's own pose: flexion (x), twist (y), spread (z)."""
    return {f"finger{f}-{j}": np.zeros(3) for f in range(1, 6) for j in (1, 2, 3)} | {"wrist": np.zeros(3)}


def random_pose(rng):
    """Fingers stretched more or less and spread, thumb aside, wrist a little bent either way."""
    pose = usual_pose()
    straight, spread = rng.uniform(-0.2, 1.3), rng.uniform(-4.0, 3.0)
    for f in range(2, 6):
        for j, own in ((1, 16.0), (2, 9.0), (3, 7.0)):
            pose[f"finger{f}-{j}"][0] = -straight * own + rng.normal(0, 2.5)
        pose[f"finger{f}-1"][2] = spread * SPREAD[f] + rng.normal(0, 2.0)
    pose["finger1-1"] = rng.normal(0, [8, 4, 10])
    pose["finger1-2"][0], pose["finger1-3"][0] = rng.normal(0, 8, 2)
    pose["wrist"] = rng.normal(0, [7, 3, 8])
    return pose


def body(phenotype, local, pose):
    """Vertices (V, 3) and joints, mm, of a whole body whose left hand is posed, and its quads and weights."""
    import torch

    def delta(degrees):
        matrix = np.eye(4)
        matrix[:3, :3] = Rotation.from_rotvec(np.radians(degrees)).as_matrix()
        return torch.tensor(matrix, dtype=torch.float32)[None]

    own = model()
    defaults = {"gender": 0.5, "age": 0.67, "muscle": 0.5, "weight": 0.5, "height": 0.5, "proportions": 0.5}
    with contextlib.redirect_stdout(io.StringIO()):
        found = own(
            pose_parameters={f"{name}.L": delta(turn) for name, turn in pose.items()},
            phenotype_kwargs={**defaults, **phenotype},
            local_changes_kwargs=local,
            pose_parameterization="local-bone",
        )
    vertices = found["vertices"][0].detach().numpy().astype(float) * 1000
    heads = found["bone_poses"][0].detach().numpy()[:, :3, 3].astype(float) * 1000
    return vertices, dict(zip(own.bone_labels, heads, strict=True))


@lru_cache(maxsize=1)
def topology():
    """Which vertices make the left hand and forearm, their triangles, and the part of each vertex."""
    vertices, joints = body({}, {}, usual_pose())
    quads = np.asarray(model().faces)
    faces = np.vstack([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])
    axis = unit(joints["wrist.L"] - joints["lowerarm01.L"])
    kept = faces[((vertices - joints["wrist.L"]) @ axis)[faces].min(axis=1) > -FOREARM_MM]
    mesh = trimesh.Trimesh(vertices, kept, process=False)
    groups = trimesh.graph.connected_components(mesh.face_adjacency, nodes=np.arange(len(kept)), min_len=50)
    wrist = joints["wrist.L"]
    near = min(groups, key=lambda g: np.linalg.norm(mesh.triangles_center[g] - wrist, axis=1).min())
    used, own = np.unique(kept[near], return_inverse=True)
    labels = list(model().bone_labels)
    weights = np.zeros((len(vertices), len(labels)))
    index, share = model().vertex_bone_indices.numpy(), model().vertex_bone_weights.numpy()
    np.add.at(weights, (np.arange(len(vertices))[:, None], index), share)
    main = [labels[k] for k in weights[used].argmax(axis=1)]
    parts = [next((n for stem, n in PARTS.items() if name.startswith(stem)), 0) for name in main]
    return used, own.reshape(-1, 3), np.array(parts)


def swollen(vertices, faces, joints, amounts):
    """Push the surface out along smoothed normals; ``amounts`` in mm: overall, dorsum, fingers, beside."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    normals = np.array(mesh.vertex_normals)
    neighbours = trimesh.smoothing.laplacian_calculation(mesh, equal_weight=True)
    for _ in range(4):
        normals = neighbours.dot(normals)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
    wrist, knuckle, tip = joints["wrist.L"], joints["finger3-1.L"], joints["finger3-3.L"]
    axis, length = unit(knuckle - wrist), np.linalg.norm(knuckle - wrist)
    along = (vertices - wrist) @ axis / length
    palm = back_of(joints)
    beyond = ramp((vertices - knuckle) @ unit(tip - knuckle) / np.linalg.norm(tip - knuckle), -0.1, 0.4)
    out = amounts.get("overall", 0.0) * (1 - 0.6 * beyond)
    out = out + amounts.get("fingers", 0.0) * beyond
    across = (vertices - wrist) @ np.cross(axis, palm) - amounts.get("beside", 0.0)
    bell = np.exp(-0.5 * (((along - 0.6) / 0.35) ** 2 + (across / 30.0) ** 2))
    out = out + amounts.get("dorsum", 0.0) * bell * ramp(normals @ palm, -0.1, 0.6)
    return vertices + normals * out[:, None]


def random_swelling(rng):
    some = {}
    if rng.random() < 0.6:
        some["overall"] = abs(rng.normal(0, 3))
    if rng.random() < 0.6:
        some |= {"dorsum": abs(rng.normal(0, 7)), "beside": rng.normal(0, 8)}
    if rng.random() < 0.4:
        some["fingers"] = abs(rng.normal(0, 1.5))
    return some


def back_of(joints):
    """Unit vector out of the back of the left hand."""
    wrist, index, little = (joints[f"{name}.L"] for name in ("wrist", "finger2-1", "finger5-1"))
    return unit(np.cross(index - wrist, little - wrist))


def laid(vertices, parts, joints, sink, pressed=True):
    """Lay the palm on the mat, z up, fingers towards +y, the middle of the footprint at the origin."""
    points = np.array([joints[f"{name}.L"] for name in POINTS])
    up = back_of(joints)
    y = unit((points[2] - points[0]) - ((points[2] - points[0]) @ up) * up)
    frame = np.vstack([np.cross(y, up), y, up])
    vertices, points = vertices @ frame.T, points @ frame.T
    palm = vertices[parts == 1]
    hull = ConvexHull(palm)
    middle = palm.mean(axis=0)
    # it rests on the facet of its hull under its middle that needs the least turn
    down = hull.equations[hull.equations[:, 2] < -0.7]
    reach = [(-(e[3] + e[:3] @ middle)) for e in down]
    foot = np.array([middle + r * e[:3] for r, e in zip(reach, down, strict=True)])
    margin = np.max(foot @ hull.equations[:, :3].T + hull.equations[:, 3], axis=1)
    resting = down[np.argmin(np.where(margin < 1e-6, -down[:, 2], 10.0 - down[:, 2]))][:3]
    turn, _ = Rotation.align_vectors([[0.0, 0.0, -1.0]], [resting])
    vertices, points = turn.apply(vertices), turn.apply(points)
    ahead = points[2] - points[0]
    spin = Rotation.from_euler("z", np.pi / 2 - np.arctan2(ahead[1], ahead[0]))
    vertices, points = spin.apply(vertices), spin.apply(points)
    low = vertices[parts == 1][:, 2].min() + sink
    vertices, points = vertices - [0, 0, low], points - [0, 0, low]
    if pressed:
        height = 0.5 * (vertices[:, 2] + np.sqrt(vertices[:, 2] ** 2 + 9.0))
        vertices = np.column_stack([vertices[:, :2], height - height.min()])
        points[:, 2] -= height.min()
    print_ = vertices[(parts > 0) & (vertices[:, 2] < 25)]
    shift = np.array([*((print_.min(axis=0) + print_.max(axis=0)) / 2)[:2], 0.0])
    return vertices - shift, points - shift


def resting(phenotype, local, pose, sink):
    """The pose with every finger bent or stretched at its root until its tip touches the mat."""
    used, _, parts = topology()

    def tips(pose):
        every, joints = body(phenotype, local, pose)
        vertices, points = laid(every[used], parts, joints, sink, pressed=False)
        found = []
        for part in range(2, 7):
            own = vertices[parts == part]
            away = np.linalg.norm(own[:, :2] - points[0, :2], axis=1)
            end = own[away > np.quantile(away, 0.6)]
            found.append((end[:, 2].min(), np.ptp(away)))
        return np.array(found)

    pose = {name: turn.copy() for name, turn in pose.items()}
    for _ in range(2):
        now = tips(pose)
        tried = {**pose, "finger1-1": pose["finger1-1"] + [0, 0, 6.0]}
        slope = (tips(tried)[0, 0] - now[0, 0]) / 6.0
        sideways = {**pose, "finger1-1": pose["finger1-1"] + [6.0, 0, 0]}
        other = (tips(sideways)[0, 0] - now[0, 0]) / 6.0
        gradient = np.array([other, 0.0, slope])
        step = -now[0, 0] * gradient / max(gradient @ gradient, 0.2)
        pose["finger1-1"] += np.clip(step, -25, 25)
        for f in range(2, 6):
            pose[f"finger{f}-1"][0] += np.degrees(np.arctan2(now[f - 1, 0], now[f - 1, 1]))
    return pose


def hand(phenotype, local, pose, swelling, sink=4.0, times=1):
    """One left hand: vertices, faces, the part of each vertex, points; mm, in the frame of the mat."""
    used, faces, parts = topology()
    every, joints = body(phenotype, local, resting(phenotype, local, pose, sink))
    coarse = every[used]
    vertices, fine = trimesh.remesh.subdivide_loop(coarse, faces, iterations=times)
    vertices, fine = np.asarray(vertices), np.asarray(fine)
    which = parts[cKDTree(coarse).query(vertices)[1]] if len(vertices) != len(coarse) else parts
    vertices = swollen(vertices, fine, joints, swelling)
    vertices, points = laid(vertices, which, joints, sink)
    return vertices, fine, which, points


def main(count, out):
    rng = np.random.default_rng(SEED)
    every, places = [], []
    while len(every) < int(count):
        names = ("gender", "muscle", "weight", "height", "proportions")
        phenotype = {name: float(rng.uniform(0.05, 0.95)) for name in names}
        phenotype["age"] = float(rng.uniform(0.55, 0.95))
        local = {name: float(rng.uniform(-0.4, 0.4)) for name in LOCAL}
        vertices, faces, parts, points = hand(
            phenotype, local, random_pose(rng), random_swelling(rng), rng.uniform(3.0, 6.0)
        )
        size = np.exp(rng.normal(-0.05, 0.08) + rng.normal(0, [0.03, 0.03, 0.05]))
        every.append(vertices * size)
        places.append(points * size)
    hands, points = np.array(every), np.array(places)
    mean = hands.mean(axis=0)
    reach = mean[:, 1] - points[:, 0, 1].mean()
    low = reach[faces].min(axis=1) > -KEPT_MM
    used, own = np.unique(faces[low], return_inverse=True)
    rows = np.concatenate([hands[:, used], points], axis=1)
    middle = rows.mean(axis=0)
    _, size, modes = np.linalg.svd((rows - middle).reshape(len(rows), -1), full_matrices=False)
    sd = size / np.sqrt(len(rows) - 1)
    left = np.sqrt(np.mean(sd[MODES:] ** 2) * len(sd[MODES:]) / len(middle))
    print("vertices", len(used), "rms left, mm", left)
    np.savez_compressed(
        out,
        mean=middle.astype(np.float32),
        modes=(modes[:MODES] * sd[:MODES, None]).reshape(MODES, -1, 3).astype(np.float16),
        faces=own.reshape(-1, 3).astype(np.uint16),
        parts=parts[used].astype(np.uint8),
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
