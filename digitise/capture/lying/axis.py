"""The axis of a limb that lies, from its silhouettes in two photographs or more.

The rays that halve a silhouette lie nearly in one plane through the camera and the limb's axis; the planes of
all cameras meet in it.  Which end is the hand or foot is told by the narrowest place, wrist or ankle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, grey_opening

from digitise.capture.lying.silhouette import Silhouette
from digitise.errors import OutlineError
from digitise.geometry.rigid import Array, Pose

_ROUNDS = 8  # of robust weights
_REFINED = 4  # of axis, stretch and planes
_LEAST_CROSSING_DEG = 30.0
_GRID_MM = 5.0
_SMOOTH_MM = 15.0
_LEAST_LENGTH_MM = 150.0
# An elbow bent by 30 degrees puts the middle of a 500 mm arm 32 mm off a straight line, 10 mm rms.
_MOST_OFF_MM = 14.0
_HAND_EXCESS = 1.08  # a hand or foot is this much wider than the narrowest place
_SUPPORT_MM = 100.0  # a support is seen over less of the limb than this
_WIDER_MM = 5.0
_LEAST_CLEAR = 15
_NEAR_END = 0.4  # of the length: the narrowest place lies that near to hand or foot
# The axis begins that far below the narrowest place: a hand begins at the wrist, but the ankle bones and the
# heel lie well below the narrowest place of a leg.
_BELOW_MM = {"arm": 60.0, "leg": 120.0}


@dataclass(frozen=True)
class Profile:
    """Levels of one silhouette along an axis: heights (n,), offsets of the middle (n,), widths (n,), mm."""

    z: Array
    off: Array
    width: Array


def find_axis(silhouettes: Sequence[Silhouette], limb: str) -> Pose:
    """Return axis_from_world of a lying limb: z along it towards the trunk, y upwards.

    Heights are counted from a place some way below the narrowest one, wrist or ankle.

    Parameters
    ----------
    silhouettes
        One per photograph.
    limb
        ``leg`` or ``arm``.

    Raises
    ------
    OutlineError
        When the photographs look from nearly the same direction, show no common stretch of the limb, or the
        limb is bent.
    """
    planes = [_plane(each, np.ones(len(each.first), bool)) for each in silhouettes]
    for _ in range(_REFINED):
        axis = _meeting(planes, silhouettes)
        profiles = [profile(each, axis) for each in silhouettes]
        stretch = _stretch(profiles, silhouettes)
        planes = [_plane(each, _clear(own, stretch)) for each, own in zip(silhouettes, profiles, strict=True)]
    axis = _meeting(planes, silhouettes)
    profiles = [profile(each, axis) for each in silhouettes]
    stretch = _stretch(profiles, silhouettes)
    _refuse_bent(profiles, stretch, silhouettes)
    return _begun(axis, stretch, _BELOW_MM[limb])


def _plane(silhouette: Silhouette, use: NDArray[np.bool_]) -> Array:
    """Return the unit normal (3,) of the plane through the camera that holds the middle rays, robustly."""
    rays, weight = silhouette.middle[use], np.ones(np.count_nonzero(use))
    for _ in range(_ROUNDS):
        normal = np.linalg.svd(rays * np.sqrt(weight)[:, None])[2][2]
        off = np.abs(rays @ normal)
        scale = 1.4826 * np.median(off) + 1e-9
        weight = 1.0 / (1.0 + (off / (2.0 * scale)) ** 2)
    return np.asarray(normal)


def _meeting(normals: Sequence[Array], silhouettes: Sequence[Silhouette]) -> Pose:
    """Return the line in which planes through the cameras meet, as axis_from_world with y upwards."""
    stack = np.array(normals)
    _, strength, turned = np.linalg.svd(stack)
    # two planes that cross at an angle have singular values sqrt(1 +- cos)
    if strength[1] ** 2 < 1 - np.cos(np.radians(_LEAST_CROSSING_DEG)):
        raise OutlineError(
            "the photographs look at the limb from nearly the same direction.",
            where=", ".join(each.name for each in silhouettes),
            do="Take one from either side of the limb, both from slanting above.",
        )
    centres = np.array([each.camera.centre for each in silhouettes])
    point = np.linalg.lstsq(stack, np.sum(stack * centres, axis=1), rcond=None)[0]
    near = centres.mean(axis=0)
    return _frame(turned[2], point + ((near - point) @ turned[2]) * turned[2])


def _frame(along: Array, origin: Array) -> Pose:
    up = np.array([0.0, 0.0, 1.0])
    y = up - (up @ along) * along
    y /= np.linalg.norm(y)
    rotation = np.stack([np.cross(y, along), y, along])
    return Pose(rotation, -rotation @ origin)


def profile(silhouette: Silhouette, axis_from_world: Pose) -> Profile:
    """Return where the levels of a silhouette lie along an axis, and how far its middle is off it."""
    eye = axis_from_world.apply(silhouette.camera.centre)
    rays = silhouette.middle @ axis_from_world.rotation.T
    towards = -eye[:2] / np.linalg.norm(eye[:2])
    across = np.array([-towards[1], towards[0]])
    depth = np.linalg.norm(eye[:2]) / (rays[:, :2] @ towards)
    half = np.arccos(np.clip(np.sum(silhouette.first * silhouette.second, axis=1), -1, 1)) / 2
    return Profile(eye[2] + depth * rays[:, 2], depth * (rays[:, :2] @ across), 2 * depth * np.sin(half))


class _Stretch(NamedTuple):
    """Where the limb lies on an axis without hand or foot, mm; ``flip`` when the axis runs from the trunk."""

    low: float
    high: float
    flip: bool


def _stretch(profiles: Sequence[Profile], silhouettes: Sequence[Silhouette]) -> _Stretch:
    """Find wrist or ankle, the narrowest place with wider ones on both sides, and cut off what is beyond."""
    low, high = max(each.z.min() for each in profiles), min(each.z.max() for each in profiles)
    names = ", ".join(each.name for each in silhouettes)
    if high - low < _LEAST_LENGTH_MM:
        raise OutlineError(
            "the photographs do not show the same stretch of the limb before the sheet.",
            where=names,
            do="Take both with the whole limb and the whole sheet in the picture.",
        )
    grid = np.arange(low, high, _GRID_MM)
    width = np.mean([np.interp(grid, *_rising(each)) for each in profiles], axis=0)
    width = gaussian_filter1d(width, _SMOOTH_MM / _GRID_MM, mode="nearest")
    before, after = np.maximum.accumulate(width), np.maximum.accumulate(width[::-1])[::-1]
    waist = np.minimum(before, after) / width
    neck = int(np.argmax(waist))
    if waist[neck] < _HAND_EXCESS:
        flip = bool(width[len(width) // 2 :].mean() < width[: len(width) // 2].mean())
        return _Stretch(float(low), float(high), flip)
    share = (grid[neck] - low) / (high - low)
    if _NEAR_END < share < 1 - _NEAR_END:
        raise OutlineError(
            "it cannot be told which end of the limb is hand or foot: its narrowest place is in the middle.",
            where=names,
            do="Show the limb from hand or foot to well above elbow or knee, or type its axis (--axis).",
        )
    place = float(grid[neck])
    return _Stretch(float(low), place, True) if share > 0.5 else _Stretch(place, float(high), False)


def _rising(own: Profile) -> tuple[Array, Array]:
    order = np.argsort(own.z)
    return own.z[order], own.width[order]


def _clear(own: Profile, stretch: _Stretch) -> NDArray[np.bool_]:
    """Tell which levels of a silhouette lie on the stretch and show no support beside the limb."""
    grid = np.arange(own.z.min(), own.z.max(), _GRID_MM)
    width = np.interp(grid, *_rising(own))
    plain = grey_opening(width, size=(int(_SUPPORT_MM / _GRID_MM),))
    wide = np.interp(own.z, grid, width - plain) > _WIDER_MM
    clear = (own.z > stretch.low) & (own.z < stretch.high) & ~wide
    return np.asarray(clear if np.count_nonzero(clear) > _LEAST_CLEAR else own.z > -np.inf)


def _refuse_bent(profiles: Sequence[Profile], stretch: _Stretch, silhouettes: Sequence[Silhouette]) -> None:
    for own, each in zip(profiles, silhouettes, strict=True):
        off = own.off[_clear(own, stretch)]
        if 1.4826 * float(np.median(np.abs(off))) > _MOST_OFF_MM:
            raise OutlineError(
                "the limb is bent: its middle does not follow a straight line.",
                where=each.name,
                do="Stretch elbow or knee as far as it goes, or measure the parts on either side one by one.",
            )


def _begun(axis: Pose, stretch: _Stretch, below_mm: float) -> Pose:
    """Let an axis begin below wrist or ankle and run to the trunk."""
    world = axis.inverse()
    along = world.rotation[:, 2] * (-1.0 if stretch.flip else 1.0)
    at = world.apply(np.array([0.0, 0.0, stretch.high if stretch.flip else stretch.low]))
    return _frame(along, at - below_mm * along)
