"""Places on a limb in plain words: direction, height and stretch."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.landmarks import Landmarks
from digitise.shape.limb import Limb

_THIRDS = ("lower third of the measured stretch", "middle third", "upper third of the measured stretch")
# A stretch named after a narrow or wide place reaches this far from it (ours).
_ANKLE_MM = 40.0
_CALF_MM = 60.0
_KNEE_MM = (-20.0, 90.0)
# Beyond this share of the way round, a region goes all round.
_ALL_ROUND = 0.85
_SECTOR = np.cos(np.radians(67.5))
# A direction within 45 degrees of the vertical is above or below: the limb lies.
_LYING = 0.7


@dataclass(frozen=True)
class Stretch:
    """A named part of the limb between two heights, mm."""

    name: str
    from_mm: float
    to_mm: float


def direction_words(limb: Limb, theta: float) -> str:
    """Return where a direction of the axis frame points on the body.

    The world's y is where the toes point and its z is up, so its x points to the person's right.

    Returns
    -------
    Of a limb that stands ``front``, ``front inner``, ``inner``, ``back inner``, ...; ``upper side`` or
    ``under side`` where the direction is nearer to the vertical.
    """
    x, y, up = limb.axis_from_world.rotation.T @ np.array([np.cos(theta), np.sin(theta), 0.0])
    if abs(up) > _LYING:
        return "upper side" if up > 0 else "under side"
    inward = x if limb.side == "left" else -x
    flat = np.hypot(x, y)
    along = "front" if y > _SECTOR * flat else "back" if y < -_SECTOR * flat else ""
    across = "inner" if inward > _SECTOR * flat else "outer" if inward < -_SECTOR * flat else ""
    return " ".join(word for word in (along, across) if word)


def stretches(limb: Limb, marks: Landmarks) -> tuple[Stretch, ...]:
    """Return the limb's named stretches from bottom to top; thirds where it has no narrow and wide place."""
    low, high = limb.from_mm, limb.to_mm
    if marks.narrow is None or marks.wide is None:
        edges = np.linspace(low, high, 4)
        return tuple(
            Stretch(name, float(a), float(b)) for name, a, b in zip(_THIRDS, edges, edges[1:], strict=False)
        )
    leg = limb.kind == "leg"
    wide = "calf" if leg else "forearm"
    names = ["ankle" if leg else "wrist", f"lower {wide}", wide]
    cuts = [marks.narrow.height_mm + _ANKLE_MM, marks.wide.height_mm - _CALF_MM]
    if marks.upper_narrow is not None and not marks.upper_narrow.at_end:
        joint = marks.upper_narrow.height_mm
        names += ["knee" if leg else "elbow", "thigh" if leg else "upper arm"]
        cuts += [joint + _KNEE_MM[0], joint + _KNEE_MM[1]]
    edges = np.maximum.accumulate(np.clip([low, *cuts, high], low, high))
    return tuple(
        Stretch(name, float(a), float(b))
        for name, a, b in zip(names, edges, edges[1:], strict=False)
        if b > a
    )


def stretch_name(parts: tuple[Stretch, ...], height_mm: float) -> str:
    """Return the name of the stretch that holds a height; the nearest one outside all."""
    inside = [part for part in parts if height_mm <= part.to_mm]
    return (inside[0] if inside else parts[-1]).name


def place_words(
    limb: Limb, parts: tuple[Stretch, ...], theta: float, round_share: float, heights: tuple[float, float]
) -> str:
    """Return for instance ``calf, back inner, 320 to 390 mm``.

    Parameters
    ----------
    limb
        The limb.
    parts
        Its stretches.
    theta
        Direction of the region's middle.
    round_share
        The share of the way round that it takes.
    heights
        Its lowest and highest place, mm.
    """
    where = "all round" if round_share > _ALL_ROUND else direction_words(limb, theta)
    name = stretch_name(parts, float(np.mean(heights)))
    return f"{name}, {where}, {heights[0]:.0f} to {heights[1]:.0f} mm"
