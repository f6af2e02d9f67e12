"""What a planned wrap takes and gives: turns, lengths, rolls, layers and relative pressure along the limb.

A turn advances by ``a = w (1 - f)`` and is ``sqrt(C^2 + a^2)`` long on a cylinder of girth C, so a layer over
a segment takes ``int sqrt(C^2 + a^2) / a dz``; without the pitch under the root this is ``int C / a dz``.
Girths are those outside the layers below.  At rest the bandage is shorter by 1 + extension.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from digitise.anatomy import LimbKind
from digitise.care.surface.landmarks import HEEL_BELOW_MM, find_landmarks, knee_crease
from digitise.care.surface.way import Way
from digitise.care.wrap.follow import WrapStep, wrap_steps
from digitise.care.wrap.plan import Layer, LayerKind, Plan
from digitise.care.wrap.pressure import layered_mmhg
from digitise.care.wrap.suggestion import CLEAR_OF_CREASE_MM, suggest_plan
from digitise.care.wrap.warnings import OnEnd, WrapWarning, wrap_warnings
from digitise.errors import PlanError
from digitise.geometry.rigid import Array
from digitise.shape.limb import Limb, girth

STEP_MM = 5.0
# A layer may begin or end this far beyond the measured segment, where the limb is taken to go on level.
_BEYOND_MM = 30.0
_SAME_MM = 1e-6
_AT_WRIST_MM = 10.0  # a layer that begins no further beyond the wrist begins at it


@dataclass(frozen=True)
class LayerNeed:
    """What one layer takes.

    Attributes
    ----------
    layer
        As planned.
    turns
        Along its segment, without anchor turns.
    stretched_mm, rest_mm
        Length of bandage on the limb, and the same at rest; with anchor turns.
    rolls
        Whole rolls of the plan's length for its kind.
    end
        ``foot`` where it begins behind the toes and closes the heel, ``hand`` where it begins behind the
        knuckles; else empty.
    """

    layer: Layer
    turns: float
    stretched_mm: float
    rest_mm: float
    rolls: int
    end: Literal["", "foot", "hand"] = ""


class Rolls(NamedTuple):
    """How many rolls of one kind and width, mm: a padding roll is no bandage of the same width."""

    kind: LayerKind
    width_mm: float
    rolls: int


@dataclass(frozen=True)
class WrapSheet:
    """A wrap worked out for a limb.

    Attributes
    ----------
    plan
        As worked out.
    needs
        One per layer.
    rolls
        Bandages first, each kind from the narrowest.
    z
        (N,) heights on the measured limb, mm.
    layers
        (N,) pressing layers there.
    estimate_mmhg
        (N,) mean Laplace pressure under the stated tensions; an estimate, see
        :mod:`digitise.care.wrap.pressure`.
    relative
        (N,) the same over that at ankle or wrist, else at the lowest pressed height; 0 without one.
    warnings
        What to look at.
    steps
        The layers as hands put them on.
    end
        The way over foot or hand, where it is known.
    """

    plan: Plan
    needs: tuple[LayerNeed, ...]
    rolls: tuple[Rolls, ...]
    z: Array
    layers: Array
    estimate_mmhg: Array
    relative: Array
    warnings: tuple[WrapWarning, ...]
    steps: tuple[WrapStep, ...]
    end: Way | None = None


def turns(length: float, width: float, overlap: float) -> float:
    """Return the number of turns over a length of limb, L / (w (1 - f)).

    Examples
    --------
    >>> turns(400.0, 100.0, 0.5)
    8.0
    """
    return length / (width * (1 - overlap))


def turn_length(girth: Array, advance: float) -> Array:
    """Return the length of one turn that advances along the limb, ``sqrt(C^2 + a^2)``.

    Examples
    --------
    >>> float(turn_length(np.array(300.0), 40.0)).__round__(1)
    302.7
    """
    return np.hypot(girth, advance)


def wound_length(z: Array, girth: Array, advance: float, *, pitch: bool = True) -> float:
    """Return the length of bandage over a segment of limb.

    Parameters
    ----------
    z, girth
        (N,) heights and girths; between them girth is taken as linear.
    advance
        How far a turn moves along.
    pitch
        Count the slant of the turns; without it the usual ``int C / a dz``.

    Examples
    --------
    >>> z, girth = np.array([100.0, 500.0]), np.array([300.0, 300.0])
    >>> wound_length(z, girth, 50.0, pitch=False)
    2400.0
    >>> wound_length(np.array([100.0]), np.array([300.0]), 50.0)
    0.0
    """
    length = turn_length(girth, advance) if pitch else np.asarray(girth, float)
    return float(np.trapezoid(length, z) / advance)


def wrap_sheet(limb: Limb, plan: Plan | None = None, end: Way | None = None) -> WrapSheet:
    """Work out a wrap.

    Parameters
    ----------
    limb
        The limb.
    plan
        What goes on it; suggested from the shape when not given.
    end
        The way over the foot of a leg that stands, or over the hand of an arm that lies; None where it was
        neither measured nor taped.

    Raises
    ------
    PlanError
        When a layer reaches beyond what was measured.
    """
    marks = find_landmarks(limb)
    plan = suggest_plan(limb, marks, begins=None if end is None else end.planned_mm) if plan is None else plan
    _check_reach(limb, plan, end)
    z, bare = _line(limb, end)
    outside = bare.copy()
    counted, pressure = np.zeros_like(z), np.zeros_like(z)
    needs = []
    for layer in plan.layers:
        start = _start(layer, limb, end)
        needs.append(_need(plan, layer, start, z, outside, _end_of(layer, limb, end)))
        covered = (z >= start - _SAME_MM) & (z <= layer.to_mm + _SAME_MM)
        if any(abs(other.from_mm - layer.to_mm) < _SAME_MM for other in plan.layers):
            covered &= z < layer.to_mm - _SAME_MM  # there the next one is counted
        if layer.kind == "bandage":
            counted += np.where(covered, layer.layers, 0.0)
            pressing = layered_mmhg(
                layer.tension_n, layer.width_mm, outside, layer.layers, layer.thickness_mm
            )
            pressure += np.where(covered, pressing, 0.0)
        outside = outside + np.where(covered, 2 * np.pi * layer.thickness_mm * layer.layers, 0.0)
    beyond = z < limb.from_mm - 1e-6
    on_end = None if end is None else OnEnd(end.part, bare[beyond], counted[beyond])
    z, bare, counted, pressure = (values[~beyond] for values in (z, bare, counted, pressure))
    narrow = None if marks.narrow is None or marks.narrow.at_end else marks.narrow.height_mm
    relative = _relative(z, pressure, narrow)
    crease = knee_crease(limb, marks)
    found = wrap_warnings(
        plan,
        z,
        bare,
        counted,
        relative,
        pressure,
        crease=crease,
        clear=CLEAR_OF_CREASE_MM,
        heel_below=HEEL_BELOW_MM if limb.kind == LimbKind.LEG else None,
        kind=limb.kind,
        narrow=narrow,
        on_end=[bool(need.end) for need in needs],
        end=on_end,
    )
    steps = wrap_steps(needs, limb.kind, marks, end)
    return WrapSheet(plan, tuple(needs), _rolls(needs), z, counted, pressure, relative, found, steps, end)


def _end_of(layer: Layer, limb: Limb, end: Way | None) -> Literal["", "foot", "hand"]:
    """Tell whether a layer begins on foot or hand.

    A leg that stands has nothing else at 0 mm; on a hand the heights of its arm go on beyond the wrist.
    """
    if limb.kind == LimbKind.LEG and not limb.lying:
        return "foot" if layer.from_mm <= 0.0 else ""
    on_hand = end is not None and end.part == "hand" and layer.from_mm < end.bend_mm - _AT_WRIST_MM
    return "hand" if on_hand else ""


def _line(limb: Limb, end: Way | None) -> tuple[Array, Array]:
    """Return places (N,) from behind toes or knuckles, or the limb's lowest height, up, and bare girths."""
    z = np.linspace(limb.from_mm, limb.to_mm, int(np.ceil((limb.to_mm - limb.from_mm) / STEP_MM)) + 1)
    bare = girth(limb, z).mean
    if end is None:
        return z, bare
    count = int(np.ceil((limb.from_mm - end.start_mm) / STEP_MM))
    beyond = np.linspace(end.start_mm, limb.from_mm, count + 1)[:-1]
    return np.concatenate([beyond, z]), np.concatenate([np.interp(beyond, end.at, end.girth), bare])


def _start(layer: Layer, limb: Limb, end: Way | None) -> float:
    if end is None or not _end_of(layer, limb, end):
        return layer.from_mm
    return end.start_mm if end.part == "foot" else max(layer.from_mm, end.start_mm)


def _check_reach(limb: Limb, plan: Plan, end: Way | None) -> None:
    for number, layer in enumerate(plan.layers, start=1):
        begins = _end_of(layer, limb, end)
        if begins == "foot":
            _check_foot(number, layer, end)
        lowest = limb.from_mm if end is None else end.bend_mm
        if begins and lowest <= layer.to_mm <= limb.to_mm + _BEYOND_MM:
            continue
        if layer.from_mm < limb.from_mm - _BEYOND_MM or layer.to_mm > limb.to_mm + _BEYOND_MM:
            raise PlanError(
                f"It reaches from {layer.from_mm:.0f} to {layer.to_mm:.0f} mm, but the limb was measured "
                f"from {limb.from_mm:.0f} to {limb.to_mm:.0f} mm.",
                where=f"Layer {number}",
                do="Change from_mm or to_mm, or measure more of the limb.",
            )


def _check_foot(number: int, layer: Layer, end: Way | None) -> None:
    if end is None:
        raise PlanError(
            "It begins at the toes, but the foot was neither measured nor taped.",
            where=f"Layer {number}",
            do="Take a photograph of the foot from above, or tape ball-of-foot and heel-instep; or let it "
            "begin on the measured leg.",
        )
    if layer.to_mm < end.bend_mm:
        raise PlanError(
            f"It begins at the toes and ends at {layer.to_mm:.0f} mm, below the bend of the ankle at "
            f"{end.bend_mm:.0f} mm.",
            where=f"Layer {number}",
            do="Let it close the heel and end on the leg.",
        )


def _need(
    plan: Plan, layer: Layer, start: float, z: Array, outside: Array, end: Literal["", "foot", "hand"]
) -> LayerNeed:
    inner = z[(z > start) & (z < layer.to_mm)]
    own = np.concatenate([[start], inner, [layer.to_mm]])
    girths = np.interp(own, z, outside) + np.pi * layer.thickness_mm * layer.layers
    spiral = layer.length_factor * wound_length(own, girths, layer.advance_mm)
    stretched = spiral + plan.anchor_turns * float(girths[0] + girths[-1])
    rest = stretched / (1 + layer.stretch)
    used = stretched if plan.roll_measured == "stretched" and layer.kind == "bandage" else rest
    roll = plan.roll_length_mm if layer.kind == "bandage" else plan.padding_roll_length_mm
    return LayerNeed(
        layer,
        turns(layer.to_mm - start, layer.width_mm, layer.overlap),
        stretched,
        rest,
        int(np.ceil(used / roll - 1e-9)),
        end,
    )


def _rolls(needs: list[LayerNeed]) -> tuple[Rolls, ...]:
    count: Counter[tuple[LayerKind, float]] = Counter()
    for need in needs:
        count[need.layer.kind, need.layer.width_mm] += need.rolls
    return tuple(Rolls(kind, width, rolls) for (kind, width), rolls in sorted(count.items()))


def _relative(z: Array, pressure: Array, narrow: float | None) -> Array:
    """Return pressure over that at ankle or wrist, or else at the lowest pressed height."""
    pressed = np.flatnonzero(pressure > 0)
    if not len(pressed):
        return np.zeros_like(pressure)
    at = pressed[0] if narrow is None else pressed[np.argmin(np.abs(z[pressed] - narrow))]
    return np.asarray(pressure / pressure[at])
