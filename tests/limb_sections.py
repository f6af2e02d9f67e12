"""Make ``tests/data/limbs/sections.npz``: ``python limb_sections.py KIT OUT``, with the package ``anny``.

KIT is a folder with the module ``limb`` that turns a parametric body into leg meshes (cut off, standing, knee
bent, sole pressed flat) and cuts them.  It takes some ten seconds a pair, and no test needs it.
"""

import contextlib
import io
import sys
import warnings
from pathlib import Path

import numpy as np
import trimesh
from scipy.spatial import ConvexHull

PAIRS, LEGS, ORDER, STEP_MM = 46, 40, 10, 10.0
# true changes of volume wanted, percent, from pair to pair
WANTED = (0.0, -1.0, -2.0, -2.0, -3.0, -4.0, -5.0, -6.0, -7.5, -1.0)
LOCAL = (
    *("lowerleg-fat-incr", "lowerleg-muscle-incr", "upperleg-fat-incr", "upperleg-muscle-incr"),
    *("leg-valgus-incr", "lowerleg-scale-depth-incr", "lowerleg-scale-horiz-incr"),
    *("upperleg-scale-depth-incr", "upperleg-scale-horiz-incr"),
)
GIRTHS = (
    "measure-ankle-circ-incr",
    "measure-calf-circ-incr",
    "measure-knee-circ-incr",
    "measure-thigh-circ-incr",
)
THETA = 2 * np.pi * np.arange(128) / 128


class Leg:
    """One body's leg before swelling and posture."""

    def __init__(self, kit, model, rng, side):
        self.kit, self.tag = kit, {"left": "L", "right": "R"}[side]
        ranges = {"gender": (0, 1), "age": (0.55, 0.95), "muscle": (0.2, 0.85), "weight": (0.25, 0.95)}
        ranges |= {"height": (0.25, 0.8), "proportions": (0.2, 0.9)}
        whole = {name: rng.uniform(*limits) for name, limits in ranges.items()}
        local = {f"{side[0]}-{name}": float(np.clip(rng.normal(0, 0.35), -1, 1)) for name in LOCAL}
        local |= {name: float(np.clip(rng.normal(0, 0.25), -1, 1)) for name in GIRTHS}
        with contextlib.redirect_stdout(io.StringIO()):
            found = model(phenotype_kwargs={**kit.BODY_DEFAULTS, **whole}, local_changes_kwargs=local)
        v = found["vertices"][0].detach().numpy().astype(float) * 1000
        heads = found["bone_poses"][0].detach().numpy()[:, :3, 3].astype(float) * 1000
        flip, lift = np.array([-1.0, -1.0, 1.0]), np.array([0, 0, -v[:, 2].min()])
        v, self.joints = v * flip + lift, dict(zip(model.bone_labels, heads * flip + lift, strict=True))
        self._cut(v, kit._triangles(np.asarray(model.faces)))

    def at(self, bone):
        return self.joints[f"{bone}.{self.tag}"]

    def _cut(self, v, f):
        hip, ankle = self.at("upperleg01"), self.at("foot")
        other = self.joints["foot.R" if self.tag == "L" else "foot.L"]
        for limit in np.arange(hip[2], 0.6 * hip[2], -10.0):
            leg_v, leg_f = self.kit._component(v, f, ankle, v[f][:, :, 2].max(1) < limit)
            if np.linalg.norm(leg_v - other, axis=1).min() > 60:
                break
        self.v, self.f = trimesh.remesh.subdivide_loop(leg_v, leg_f, iterations=3)
        mesh = trimesh.Trimesh(self.v, self.f, process=False)
        n, smooth = (
            np.array(mesh.vertex_normals),
            trimesh.smoothing.laplacian_calculation(mesh, equal_weight=True),
        )
        for _ in range(12):
            n = smooth.dot(n)
        self.n = n / (np.linalg.norm(n, axis=1, keepdims=True) + 1e-12)
        unique, count = np.unique(np.sort(mesh.edges, axis=1), axis=0, return_counts=True)
        self.rim = np.unique(unique[count == 1])

    def depth(self, layers, one_sided):
        """How far each vertex is pushed out: layers round the leg, and some that face one way, mm."""
        kit, ankle, knee, hip = self.kit, self.at("foot"), self.at("lowerleg01"), self.at("upperleg01")
        z, toe = self.v[:, 2], self.at("toe2-1")
        shank, thigh = knee[2] - ankle[2], hip[2] - knee[2]
        along = (self.v[:, :2] - ankle[:2]) @ (toe - ankle)[:2] / np.sum((toe - ankle)[:2] ** 2)
        back = np.clip(-self.n[:, 1], -1, 1)
        fields = (
            kit._ramp(z, 15, 90) * (1 - kit._ramp(along, 0.75, 1.05)),
            kit._bump(z, ankle[2] + 0.66 * shank, 0.36 * shank) * (0.65 + 0.35 * back),
            kit._bump(z, ankle[2] + 0.14 * shank, 0.26 * shank),
            kit._bump(z, knee[2] + 0.24 * thigh, 0.26 * thigh) * (0.75 - 0.25 * back),
        )
        found = sum(mm * field for mm, field in zip(layers, fields, strict=True))
        facing = np.arctan2(self.n[:, 1], self.n[:, 0])
        for mm, at, half, way, power in one_sided:
            bump = kit._bump(z, ankle[2] + at * (hip[2] - ankle[2]), half)
            found = found + mm * bump * ((1 + np.cos(facing - way)) / 2) ** power
        return found

    def standing(self, depth, flex):
        """The mesh, closed and standing with its toes along y, and the heights of ankle, knee and top."""
        kit = self.kit
        v = kit.bend_knee(self.v + self.n * depth[:, None], self.joints, self.tag, flex)
        v, ground = kit.bear_weight(v)
        top = v[self.rim, 2].min() - 5
        toe = self.at("toe2-1") - self.at("foot")
        a = np.pi / 2 - np.arctan2(toe[1], toe[0])
        mesh = kit._cut_and_cap(v, self.f, top)
        mesh.vertices = (
            mesh.vertices @ np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]]).T
        )
        foot = mesh.vertices[mesh.vertices[:, 2] < 60]
        mesh.apply_translation([*(-(foot.min(0) + foot.max(0))[:2] / 2), 0])
        return mesh, self.at("foot")[2] - ground, self.at("lowerleg01")[2] - ground, top


def sections(kit, mesh, low, high):
    """Fourier coefficients of the sections' support functions (Z, 21), and their areas, every 10 mm."""
    found, areas = [], []
    for z in np.arange(low, high + 1e-6, STEP_MM):
        a, b = kit.section(mesh, z)
        points = np.vstack([a, b])
        hull = points[ConvexHull(points).vertices]
        wave = np.fft.rfft((hull @ [np.cos(THETA), np.sin(THETA)]).max(axis=0)) / len(THETA)
        pairs = [part for k in range(1, ORDER + 1) for part in (2 * wave[k].real, -2 * wave[k].imag)]
        found.append([wave[0].real, *pairs])
        areas.append(abs(0.5 * np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])))
    return np.array(found), np.array(areas)


def swelling(rng):
    layers = [rng.uniform(0, 8)]
    layers += [
        rng.uniform(0, most) * (rng.random() < share) for most, share in ((9, 0.7), (8, 0.6), (8, 0.5))
    ]
    one_sided = [
        (
            rng.uniform(2, 9),
            rng.uniform(0.05, 0.9),
            rng.uniform(60, 160),
            rng.uniform(-np.pi, np.pi),
            rng.choice([1, 2, 4]),
        )
        for _ in range(rng.integers(1, 4))
    ]
    return np.array(layers), one_sided


def window(ankle, top):
    return np.ceil((ankle + 20) / 10) * 10, np.floor((top - 65) / 10) * 10


def pair(kit, model, number):
    """Sections at two visits; the swelling has gone back until the volume has changed as wanted."""
    rng, side = np.random.default_rng(14000 + number), ("left", "right")[number % 2]
    leg, wanted = Leg(kit, model, rng, side), WANTED[number % len(WANTED)]
    layers, one_sided = swelling(rng)
    if wanted not in (-1.0, -2.0):
        wanted *= rng.uniform(0.95, 1.05)
    flex, pace, own_pace = (
        rng.uniform(0, 4, 2),
        rng.uniform(0.2, 1.0, 4),
        rng.uniform(0.1, 1.0, len(one_sided)),
    )
    mesh, ankle, knee, top = leg.standing(leg.depth(layers, one_sided), flex[0])
    low, high = window(ankle, top)

    def later(gone):
        less = [(mm * (1 - gone * p), *rest) for (mm, *rest), p in zip(one_sided, own_pace, strict=True)]
        return leg.standing(leg.depth(layers * (1 - gone * pace), less), flex[1])[0]

    def volume(of):
        return np.sum(sections(kit, of, low, high)[1])

    before, gone = volume(mesh), 0.3 if wanted else 0.0
    posture = volume(later(0.0)) / before - 1
    for _ in range(3 if wanted else 0):
        gone *= (wanted / 100 - posture) / (volume(later(gone)) / before - 1 - posture)
        gone = float(np.clip(gone, -1, 2.5))
    reach = max(30.0, low - 40), min(high + 50, top - 2)
    both = [sections(kit, one, *reach)[0] for one in (mesh, later(gone))]
    return (number, side == "right", low, high, ankle, knee), reach[0], both


def one_leg(kit, model, number):
    rng, side = np.random.default_rng(15000 + number), ("left", "right")[number % 2]
    leg = Leg(kit, model, rng, side)
    mesh, ankle, knee, top = leg.standing(leg.depth(*swelling(rng)), rng.uniform(0, 3))
    low, high = window(ankle, top)
    reach = max(30.0, low - 40), min(high + 50, top - 2)
    return (number, side == "right", low, high, ankle, knee), reach[0], [sections(kit, mesh, *reach)[0]]


def main(kit_folder: str, out: str) -> None:
    sys.path.insert(0, kit_folder)
    warnings.filterwarnings("ignore")
    import anny
    import limb as kit

    model = anny.create_fullbody_model(rig="default", local_changes="all")
    arrays = dict(np.load(out)) if Path(out).exists() else {}
    for name, make, count in (("pair", pair, PAIRS), ("leg", one_leg, LEGS)):
        made = [make(kit, model, number) for number in range(count)]
        arrays[f"{name}_limbs"] = np.array([limb for limb, _, _ in made], float)
        arrays[f"{name}_start"] = np.array([(first, len(part)) for _, first, parts in made for part in parts])
        every = np.vstack([part for _, _, parts in made for part in parts])
        arrays[f"{name}_sections"] = np.round(100 * every).astype(np.int16)
    np.savez_compressed(out, **arrays)


if __name__ == "__main__":
    main(*sys.argv[1:])
