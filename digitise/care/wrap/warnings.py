"""What may go wrong with a planned wrap on this limb, each said in a sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.wrap.plan import Layer, Plan
from digitise.geometry.rigid import Array

# A rise of pressure below this is within what a hand does (ours).
RISE = 0.10
# very strong compression begins above it (Partsch et al. 2008, Dermatol Surg 34(5):600-609)
VERY_STRONG_MMHG = 60.0
# A rise over less than this is one turn's (ours): half the width of a bandage.
RISE_LENGTH_MM = 40.0
# A bandage wider than half the girth gapes at its edges, one below a tenth cords (ours).
WIDEST, NARROWEST = 0.5, 0.1
FALL_MM = 15.0
_EDGE_MM = 1.0


class OnEnd(NamedTuple):
    """Bare girths and pressing layers, each (N,), along the way over a foot or hand."""

    part: str
    girth: Array
    layers: Array


@dataclass(frozen=True)
class WrapWarning:
    """One thing to look at.

    Attributes
    ----------
    code
        ``bare-below``, ``pressure-rises``, ``very-strong``, ``few-layers``, ``ends-on-crease``, ``width``,
        ``gapes`` or ``slides``.
    text
        In words.
    """

    code: str
    text: str


def wrap_warnings(
    plan: Plan,
    z: Array,
    girth: Array,
    layers: Array,
    relative: Array,
    pressure: Array,
    *,
    crease: float | None,
    clear: float,
    heel_below: float | None,
    on_end: Sequence[bool],
    kind: LimbKind = LimbKind.LEG,
    narrow: float | None = None,
    end: OnEnd | None = None,
) -> tuple[WrapWarning, ...]:
    """Look through a wrap.

    Parameters
    ----------
    plan
        As planned.
    z, girth, layers, relative, pressure
        (N,) heights, bare girths, pressing layers, and pressure relative to the ankle or wrist and in mmHg.
    crease
        Height of the crease of the knee, None where there is none.
    clear
        How far from it an end must lie, mm.
    heel_below
        Up to this height a leg's girth may fall because it comes from the heel; None for an arm.
    on_end
        Of each layer, whether it begins on foot or hand.
    kind
        ``leg`` or ``arm``.
    narrow
        Height of ankle or wrist, from which on pressure is not to rise; None where there is none.
    end
        The same on foot or hand; None where it is not known.
    """
    found = [
        *_bare_below(plan, kind, on_end),
        *_rising(z, relative, narrow),
        *_few(plan, z, layers),
        *_strong(z, pressure),
        *_slides(plan, z, girth, heel_below),
        *(() if end is None else _on_end(plan, end, on_end)),
    ]
    for number, layer in enumerate(plan.layers, start=1):
        name = _named(number, layer)
        found += _on_crease(name, layer, crease, clear)
        found += _width(name, layer, z, girth)
    return tuple(found)


def _bare_below(plan: Plan, kind: LimbKind, on_end: Sequence[bool]) -> list[WrapWarning]:
    each = zip(plan.layers, on_end, strict=True)
    counted = [(layer, begun) for layer, begun in each if layer.kind == "bandage" or _padding_alone(plan)]
    if plan.end_wrapped or any(begun for _, begun in counted):
        return []
    lowest = min(layer.from_mm for layer, _ in counted)
    begin = {
        LimbKind.LEG: "Wrap the foot from behind the toes on, heel closed, "
        "and leave the toes' tips to be seen.",
        LimbKind.ARM: "Wrap from the fingers on, over the hand, and leave the fingers' tips to be seen.",
    }
    swells = f"{lowest / 10:.0f} cm, and what no bandage covers swells. {begin[kind]}"
    padded = any(layer.from_mm < lowest for layer in plan.layers)
    bare = f"Only padding is planned below {swells}" if padded else f"Nothing is planned below {swells}"
    return [WrapWarning("bare-below", bare)]


def _padding_alone(plan: Plan) -> bool:
    return all(layer.kind == "padding" for layer in plan.layers)


def _on_end(plan: Plan, end: OnEnd, on_end: Sequence[bool]) -> list[WrapWarning]:
    """Look at the layers that begin behind toes or knuckles."""
    found = []
    fewest = float(end.layers.min(initial=np.inf))
    if 0 < fewest < plan.least_layers - 1e-9:
        text = f"On the {end.part} there are places with fewer than {plan.least_layers:g} pressing layers."
        found.append(WrapWarning("few-layers", text))
    least = float(end.girth.min())
    for number, (layer, begun) in enumerate(zip(plan.layers, on_end, strict=True), start=1):
        if begun and layer.width_mm > WIDEST * least:
            text = (
                f"{_named(number, layer)} is {layer.width_mm:.0f} mm wide, too wide to lie flat on the "
                f"{end.part}."
            )
            found.append(WrapWarning("width", text))
    return found


def _named(number: int, layer: Layer) -> str:
    return f"Layer {number}" + (f" ({layer.name})" if layer.name else "")


def _rising(z: Array, relative: Array, narrow: float | None) -> list[WrapWarning]:
    pressed = np.flatnonzero((relative > 0) & (z >= (-np.inf if narrow is None else narrow)))
    if len(pressed) < 2:
        return []
    lowest = np.minimum.accumulate(relative[pressed])
    rise = relative[pressed] / lowest - 1
    top = int(np.argmax(rise))
    over = z[pressed[rise > RISE]]
    if not len(over) or over[-1] - over[0] < RISE_LENGTH_MM:
        return []
    start = int(np.flatnonzero(relative[pressed][: top + 1] <= lowest[top])[-1])
    low, high = z[pressed[start]], z[pressed[top]]
    return [
        WrapWarning(
            "pressure-rises",
            f"Pressure rises towards the trunk by {100 * rise[top]:.0f} % from {low / 10:.0f} to "
            f"{high / 10:.0f} cm: build up the narrow part with padding or lay fewer layers above.",
        )
    ]


def _strong(z: Array, pressure: Array) -> list[WrapWarning]:
    top = int(np.argmax(pressure))
    if pressure[top] <= VERY_STRONG_MMHG:
        return []
    text = (
        f"By the planned tensions the estimate reaches {pressure[top]:.0f} mmHg at {z[top]:.0f} mm. Above "
        f"{VERY_STRONG_MMHG:.0f} mmHg compression counts as very strong: check tension (newton), widths and "
        "layers."
    )
    return [WrapWarning("very-strong", text)]


def _few(plan: Plan, z: Array, layers: Array) -> list[WrapWarning]:
    low = min(layer.from_mm for layer in plan.layers)
    high = max(layer.to_mm for layer in plan.layers)
    few = (z >= low) & (z <= high) & (layers < plan.least_layers - 1e-9)
    if not few.any():
        return []
    return [
        WrapWarning(
            "few-layers",
            f"Between {z[few][0]:.0f} and {z[few][-1]:.0f} mm there are places with fewer than "
            f"{plan.least_layers:g} pressing layers.",
        )
    ]


def _slides(plan: Plan, z: Array, girth: Array, heel_below: float | None) -> list[WrapWarning]:
    low = min(layer.from_mm for layer in plan.layers)
    high = max(layer.to_mm for layer in plan.layers)
    inside = (z >= low) & (z <= high)
    if not inside.any():
        return []
    z, girth = z[inside], girth[inside]
    heel = z < (-np.inf if heel_below is None else heel_below)
    if heel.any():
        narrow = int(np.argmin(girth[heel]))
        # still falling at the top of the heel: not the heel's doing
        start = narrow if narrow < np.count_nonzero(heel) - 1 else 0
        z, girth = z[start:], girth[start:]
    lost = np.maximum.accumulate(girth) - girth
    bottom = int(np.argmax(lost))
    if lost[bottom] <= FALL_MM:
        return []
    top = int(np.argmax(girth[: bottom + 1]))
    return [
        WrapWarning(
            "slides",
            f"Girth falls towards the trunk by {lost[bottom]:.0f} mm from {z[top]:.0f} to {z[bottom]:.0f} "
            "mm: a wrap may slide there.",
        )
    ]


def _on_crease(name: str, layer: Layer, crease: float | None, clear: float) -> list[WrapWarning]:
    if crease is None:
        return []
    return [
        WrapWarning(
            "ends-on-crease",
            f"{name} {word} at {end:.0f} mm, near the crease of the knee (about {crease:.0f} mm): an edge "
            "there cuts in.",
        )
        for word, end in (("begins", layer.from_mm), ("ends", layer.to_mm))
        if abs(end - crease) < clear - _EDGE_MM
    ]


def _width(name: str, layer: Layer, z: Array, girth: Array) -> list[WrapWarning]:
    inside = (z >= layer.from_mm) & (z <= layer.to_mm)
    if not inside.any():
        return []
    found = []
    least, greatest = float(girth[inside].min()), float(girth[inside].max())
    if layer.width_mm > WIDEST * least:
        found.append(
            WrapWarning(
                "width",
                f"{name} is {layer.width_mm:.0f} mm wide, too wide to lie flat on a girth of {least:.0f} mm.",
            )
        )
    if layer.width_mm < NARROWEST * greatest:
        found.append(
            WrapWarning(
                "width",
                f"{name} is {layer.width_mm:.0f} mm wide, narrow for a girth of {greatest:.0f} mm: its edges "
                "may cut in.",
            )
        )
    # pulled evenly, the edge on the smaller girth is stretched less, and hangs loose when not at all
    change = np.abs(np.gradient(girth, z))[inside] * layer.width_mm / 2 / girth[inside]
    steepest = int(np.argmax(change))
    if layer.kind == "bandage" and change[steepest] > layer.stretch:
        found.append(
            WrapWarning(
                "gapes",
                f"{name} gapes at one edge near {z[inside][steepest]:.0f} mm, where girth changes fast: turn "
                "it in a herringbone or use a narrower bandage.",
            )
        )
    return found
