"""The axis of a limb that lies, from its silhouettes in two photographs or more.

The rays that halve a silhouette lie nearly in one plane through the camera and the limb's axis; the planes of
all cameras meet in it.  Hand or foot point to the mat; wrist or ankle is the narrowest place there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, grey_opening

from digitise.anatomy import LimbKind
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
# Fingers before a wrist are narrower than it along less than this; the shin before a knee, where no foot
# shows before the sheet, along 150 mm and more.
_FINGERS_MM = 100.0
_SUPPORT_MM = 100.0  # a support is seen over less of the limb than this
_WIDER_MM = 5.0
_LEAST_CLEAR = 15
_NEAR_END = 0.45  # of the length: wrist or ankle lies that near to hand or foot, elbow and knee beyond
_MAT_BEYOND = 0.3  # of the length: the mat lies that far from its middle
_BEYOND_MM = 60.0  # outlines begin 40 mm after the axis does
# The axis begins that far below the narrowest place: a hand begins at the wrist, but the ankle bones and the
# heel lie well below the narrowest place of a leg.
_BELOW_MM = {LimbKind.ARM: 60.0, LimbKind.LEG: 120.0}


@dataclass(frozen=True)
class Profile:
    """Levels of one silhouette along an axis: heights (n,), offsets of the middle (n,), widths (n,), mm."""

    z: Array
    off: Array
    width: Array


def find_axis(silhouettes: Sequence[Silhouette], limb: LimbKind) -> Pose:
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
        stretch = _stretch(profiles, silhouettes, axis)
        planes = [_plane(each, _clear(own, stretch)) for each, own in zip(silhouettes, profiles, strict=True)]
    axis = _meeting(planes, silhouettes)
    profiles = [profile(each, axis) for each in silhouettes]
    stretch = _stretch(profiles, silhouettes, axis)
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
    """Where the limb lies on an axis without hand or foot, mm; ``flip`` when the axis runs from the trunk.

    ``seen`` is the end nearest to hand or foot of what is seen.
    """

    low: float
    high: float
    flip: bool
    seen: float


def _stretch(profiles: Sequence[Profile], silhouettes: Sequence[Silhouette], axis: Pose) -> _Stretch:
    """Find which end is hand or foot, and there wrist or ankle: narrowest, with wider places beyond."""
    low, high = max(each.z.min() for each in profiles), min(each.z.max() for each in profiles)
    names = ", ".join(each.name for each in silhouettes)
    if high - low < _LEAST_LENGTH_MM:
        raise OutlineError(
            "the photographs do not show the same stretch of the limb before the sheet.",
            where=names,
            do="Take both with the whole limb and the whole sheet in the picture.",
        )
    mat = float(axis.translation[2])  # the world's origin is the mat's middle
    if abs(mat - (low + high) / 2) < _MAT_BEYOND * (high - low):
        raise OutlineError(
            "it cannot be told which end of the limb is hand or foot: the mat lies beside its middle.",
            where=names,
            do="Lay the mat at the end of the sheet to which hand or foot points.",
        )
    flip = mat > high - (high - low) / 2
    grid = np.arange(low, high, _GRID_MM)
    width = np.mean([np.interp(grid, *_rising(each)) for each in profiles], axis=0)
    width = gaussian_filter1d(width, _SMOOTH_MM / _GRID_MM, mode="nearest")
    upwards = width[::-1] if flip else width
    waist = np.maximum.accumulate(upwards) / upwards
    near = waist[: int(_NEAR_END * len(waist))]
    narrower = np.array([np.count_nonzero(upwards[:n] < upwards[n]) for n in range(len(near))])
    near = np.where(narrower * _GRID_MM > _FINGERS_MM, 0.0, near)
    neck = int(np.argmax(near)) if near.max() > _HAND_EXCESS else 0
    place = float(grid[-1 - neck] if flip else grid[neck])
    return (
        _Stretch(float(low), place, True, float(high))
        if flip
        else _Stretch(place, float(high), False, float(low))
    )


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
                "the limb's middle does not follow a straight line: it is bent, or something of its colour "
                "lies beside it.",
                where=each.name,
                do="Stretch elbow or knee as far as it goes, and keep the other arm or leg, hands and cloths "
                "of the skin's colour off the sheet.",
            )


def _begun(axis: Pose, stretch: _Stretch, below_mm: float) -> Pose:
    """Let an axis begin below wrist or ankle, but little beyond what is seen, and run to the trunk."""
    world = axis.inverse()
    sign = -1.0 if stretch.flip else 1.0
    neck = stretch.high if stretch.flip else stretch.low
    start = sign * max(sign * neck - below_mm, sign * stretch.seen - _BEYOND_MM)
    return _frame(sign * world.rotation[:, 2], world.apply(np.array([0.0, 0.0, start])))
