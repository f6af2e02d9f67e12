"""Places on a limb in plain words: direction, height and segment."""

from __future__ import annotations

import numpy as np

from digitise.anatomy import Side
from digitise.care.surface.landmarks import Landmarks
from digitise.care.surface.segments import THIRDS, Segment, divide
from digitise.shape.limb import Limb

# A third is named in a sentence, apart from the others.
_IN_A_SENTENCE = {name: f"{name} of the measured segment" for name in (THIRDS[0], THIRDS[-1])}
# Beyond this share of the way round, a region goes all round.
_ALL_ROUND = 0.85
_SECTOR = np.cos(np.radians(67.5))
# A direction within 45 degrees of the vertical is above or below: the limb lies.
_LYING = 0.7


def direction_words(limb: Limb, theta: float) -> str:
    """Return where a direction of the axis frame points on the body.

    The world's y is where the toes point and its z is up, so its x points to the person's right.  In the
    frame of a leg that lies on its back y, upwards, is the front, and x again the person's right.  On an arm
    that lies the palm's side is the front: with the palm down y points to the back, and the thumb of a left
    hand to x; with the palm up both turn round.

    Returns
    -------
    Of a limb that stands ``front``, ``front inner``, ``inner``, ``back inner``, ...; ``upper side`` or
    ``under side`` where the direction is nearer to the vertical.  Of an arm that lies ``front``,
    ``front, thumb side``, ``thumb side``, ..., ``little-finger side``.
    """
    if limb.lying:
        return _lying_words(limb, np.cos(theta), np.sin(theta))
    x, y, up = limb.axis_from_world.rotation.T @ np.array([np.cos(theta), np.sin(theta), 0.0])
    if abs(up) > _LYING:
        return "upper side" if up > 0 else "under side"
    inward = x if limb.side == Side.LEFT else -x
    return " ".join(_sides(inward, y, ("inner", "outer")))


def _lying_words(limb: Limb, x: float, up: float) -> str:
    inward = x if limb.side == Side.LEFT else -x
    if limb.lying == "on-back":
        return " ".join(_sides(inward, up, ("inner", "outer")))
    turned = -1.0 if limb.lying == "palm-down" else 1.0
    return ", ".join(_sides(-turned * inward, turned * up, ("thumb side", "little-finger side")))


def _sides(across: float, forward: float, names: tuple[str, str]) -> list[str]:
    """Return ``front`` or ``back``, then the first name for ``across`` positive, else the second."""
    limit = _SECTOR * np.hypot(across, forward)
    words = ["front"] if forward > limit else ["back"] if forward < -limit else []
    return words + ([names[0]] if across > limit else [names[1]] if across < -limit else [])


def segments(limb: Limb, marks: Landmarks) -> tuple[Segment, ...]:
    """Return the limb's named segments from bottom to top; thirds where it has no narrow and wide place."""
    narrow, wide = (None if mark is None else mark.height_mm for mark in (marks.narrow, marks.wide))
    upper = marks.upper_narrow
    joint = None if upper is None or upper.at_end else upper.height_mm
    found = divide(limb.kind, limb.from_mm, limb.to_mm, narrow, wide, joint)
    return tuple(part._replace(name=_IN_A_SENTENCE.get(part.name, part.name)) for part in found)


def segment_name(parts: tuple[Segment, ...], height_mm: float) -> str:
    """Return the name of the segment that holds a height; the nearest one outside all."""
    inside = [part for part in parts if height_mm <= part.high]
    return (inside[0] if inside else parts[-1]).name


def place_words(
    limb: Limb, parts: tuple[Segment, ...], theta: float, round_share: float, heights: tuple[float, float]
) -> str:
    """Return for instance ``calf, back inner, 320 to 390 mm``.

    Parameters
    ----------
    limb
        The limb.
    parts
        Its segments.
    theta
        Direction of the region's middle.
    round_share
        The share of the way round that it takes.
    heights
        Its lowest and highest place, mm.
    """
    where = "all round" if round_share > _ALL_ROUND else direction_words(limb, theta)
    name = segment_name(parts, float(np.mean(heights)))
    return f"{name}, {where}, {heights[0]:.0f} to {heights[1]:.0f} mm"
