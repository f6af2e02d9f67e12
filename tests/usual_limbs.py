"""How usual limbs fare in the search for places, and limbs with one known bulge, dent or fold added.

    python tests/usual_limbs.py CHARTS.npz [limbs] [sorts]

The charts (``tests/usual_limbs_bodies.py``) are of bodies that had no say in the range.  Each limb is read
as from four sides with five or more girths: its own shape and a draw from the covariance that this leaves.
"""

from __future__ import annotations

import sys

import numpy as np
from scipy.interpolate import RegularGridInterpolator
from solid_limbs import basis, belief, limb, parameters

from digitise.care.padding.regions import find_regions

FOLD_TALL_MM = 12.0
NEAR_MM, SAME_PLACE_MM = 10.0, 60.0
INWARD = ("hollow", "crease")


def usual_shape(z, h):
    """The support function between the places of a chart."""
    theta = 2 * np.pi * np.arange(h.shape[1] + 1) / h.shape[1]
    field = RegularGridInterpolator(
        (z, theta), np.concatenate([h, h[:, :1]], axis=1), bounds_error=False, fill_value=None
    )

    def shape(at_theta, at_z):
        at = np.broadcast_arrays(np.mod(at_theta, 2 * np.pi), at_z)
        return field(np.stack([at[1], at[0]], axis=-1))

    return shape


def added(sort, peak, theta_0, z_0, wide, tall):
    """A bulge, dent or fold as what it adds to the support function, mm."""

    def shape(theta, z):
        turn = np.angle(np.exp(1j * (theta - theta_0)))
        across = 0.5 + 0.5 * np.cos(turn) if sort == "fold" else np.exp(-0.5 * (turn / wide) ** 2)
        return (1 if sort == "bulge" else -1) * peak * across * np.exp(-0.5 * ((z - z_0) / tall) ** 2)

    return shape


def read_as(shape, low, high, rng, directions=(0, 45, 90, 135)):
    """The limb as photographs and tape would give it: where nothing is seen, the prior's mean, which is 0."""
    prior, covariance = belief(low, high, directions)
    unseen = covariance @ prior
    noise = covariance - unseen @ covariance
    values, vectors = np.linalg.eigh((noise + noise.T) / 2)
    drawn = vectors @ (np.sqrt(np.maximum(values, 0.0)) * rng.standard_normal(len(values)))
    true = parameters(shape, basis(low, high))
    return limb(shape, low=low, high=high, deviation=drawn - unseen @ true, directions=directions)


def trial(z, h, sort, rng, directions=(0, 45, 90, 135)):
    """One limb with one addition: what was added, and the places found."""
    low, high = np.ceil((z[0] + 40) / 10) * 10, np.floor((z[-1] - 25) / 10) * 10
    usual = usual_shape(z, h)
    spot = (sort, rng.uniform(6, 15), rng.uniform(0, 2 * np.pi), rng.uniform(low + 50, high - 60),
            rng.uniform(0.45, 0.7), FOLD_TALL_MM if sort == "fold" else rng.uniform(25, 40))  # fmt: skip
    more = added(*spot) if sort else (lambda theta, _z: 0 * theta)
    found = find_regions(read_as(lambda t, at: usual(t, at) + more(t, at), low, high, rng, directions))
    return spot, found, usual


def judged(spot, found, usual):
    """Whether an addition was found, how far off (on the surface; along for a fold), how often."""
    sort, _, theta, z, *_ = spot
    radius = float(np.mean(usual(np.radians(np.arange(0, 360, 5.0)), np.full(72, z))))
    inward = sort != "bulge"

    def away(one):
        turn = np.angle(np.exp(1j * (one.peak_theta - theta)))
        return float(np.hypot(one.peak_height_mm - z, 0.0 if sort == "fold" else radius * turn))

    near = [one for one in found if away(one) < SAME_PLACE_MM]
    right = [away(one) for one in near if (one.kind in INWARD) == inward]
    return bool(right), min(right, default=np.nan), len(near), len(found) - len(near)


def main(path, limbs="30", sorts="bulge dent fold", first="0"):
    stored = np.load(path)
    count = min(int(limbs), sum(name.startswith("z") for name in stored))
    numbers = range(int(first), count)
    none = [trial(stored[f"z{n}"], stored[f"h{n}"], "", np.random.default_rng(n))[1] for n in numbers]
    for n, found in zip(numbers, none, strict=True):
        for one in found:
            print(f"usual limb {n}: {one.kind}, {one.place}, {one.peak_mm:.1f} mm, {one.confidence}")
    print(f"usual limbs {len(none)}: places listed in all {sum(map(len, none))}")
    for sort in sorts.split():
        rows, missed = [], []
        for n in numbers:
            spot, found, usual = trial(
                stored[f"z{n}"], stored[f"h{n}"], sort, np.random.default_rng(1000 + n)
            )
            rows.append(judged(spot, found, usual))
            if not rows[-1][0] or rows[-1][1] > NEAR_MM or rows[-1][2] > 1:
                missed.append((n, *np.round(spot[1:], 2), [round(float(x), 1) for x in rows[-1]]))
        hit, off, times, others = (np.array(column) for column in zip(*rows, strict=True))
        near = off[hit] <= NEAR_MM
        print(f"{sort}: found {hit.mean():.1%}, of these within {NEAR_MM:.0f} mm {near.mean():.1%}", end=" ")
        print(f"(median {np.median(off[hit]):.1f}, worst {np.max(off[hit]):.1f})", end=", ")
        print(f"once {np.mean(times[hit] == 1):.1%}, other places {others.sum()}")
        for one in missed:
            print("   ", *one)


if __name__ == "__main__":
    main(*sys.argv[1:])
