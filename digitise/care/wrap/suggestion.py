"""A first plan for a wrap from a limb's shape: common practice by zone, every number to be edited.

Widths, overlap and layers are common practice, from memory, and no standard; extension and tension are
assumptions that only carry the relative pressure.
"""

from __future__ import annotations

from digitise.anatomy import LimbKind
from digitise.care.surface.landmarks import Landmarks, find_landmarks, knee_crease
from digitise.care.wrap.plan import Layer, Plan
from digitise.shape.limb import Limb

NOTE = (
    "Suggested from the limb's shape by common practice; widths, overlap, extension and tension are starting "
    "points for a trained person, not a prescription."
)
_PADDING_MM = {LimbKind.LEG: 100.0, LimbKind.ARM: 80.0}
_PADDING_THICK_MM = 4.0
# Widths from the far end upward: lower leg 8 then 10 cm, knee and thigh 12; arm 6, 8, 10.
_WIDTHS_MM = {LimbKind.LEG: (80.0, 100.0, 120.0), LimbKind.ARM: (60.0, 80.0, 100.0)}
# Ends are kept this far from the crease of the knee.
CLEAR_OF_CREASE_MM = 50.0
_LEAST_STRETCH_MM = 120.0


def suggest_plan(limb: Limb, marks: Landmarks | None = None, *, begins: float | None = None) -> Plan:
    """Suggest a plan for the measured segment: padding, then bandages of rising width.

    Parameters
    ----------
    limb
        The limb.
    marks
        Its narrow and wide places; found when not given.
    begins
        Where padding and the first bandage begin, mm, as a plan says it: behind toes or knuckles, where foot
        or hand is known.
    """
    marks = find_landmarks(limb) if marks is None else marks
    low, high = limb.from_mm, limb.to_mm
    padding = Layer(
        name="padding",
        width_mm=_PADDING_MM[limb.kind],
        from_mm=round(low) if begins is None else begins,
        to_mm=round(high),
        stretch=0.0,
        tension_n=0.0,
        thickness_mm=_PADDING_THICK_MM,
        kind="padding",
    )
    bandages = [
        _bandage(width, begins if begins is not None and number == 0 else start, end)
        for number, (width, start, end) in enumerate(
            _segments(_WIDTHS_MM[limb.kind], low, high, _joint(limb, marks))
        )
    ]
    return Plan(layers=(padding, *bandages), note=NOTE)


def _segments(
    widths: tuple[float, float, float], low: float, high: float, joint: float | None
) -> list[tuple[float, float, float]]:
    """Share the segment out so that two bandages lie everywhere.

    Their joins are staggered: one below the joint, one above it, both clear of its crease.
    """
    first, second, third = widths
    if joint is None:
        return [(first, low, high), (second, low, high)]
    below, above = joint - CLEAR_OF_CREASE_MM, joint + CLEAR_OF_CREASE_MM + third / 4
    found = [(first, low, below), (second, low, above), (third, below, high), (third, above, high)]
    if below - low < _LEAST_STRETCH_MM:
        return [(second, low, high), (third, low, high)]
    if high - above < _LEAST_STRETCH_MM:
        return [(first, low, high), (second, low, high)]
    return found


def _bandage(width: float, low: float, high: float) -> Layer:
    return Layer(name=f"{width / 10:.0f} cm", width_mm=width, from_mm=round(low), to_mm=round(high))


def _joint(limb: Limb, marks: Landmarks) -> float | None:
    """Return the height of knee crease or elbow within the segment, None where there is none."""
    if marks.upper_narrow is None or marks.upper_narrow.at_end:
        return None
    crease = knee_crease(limb, marks)
    return marks.upper_narrow.height_mm if crease is None else crease
