"""Figures of one limb, or of one limb at several visits: girth profile, sections, change chart, course.

Each function draws one figure and returns it; :func:`digitise.output.figures.style.png` and ``svg`` turn it
into a file.  Lengths are in mm, heights rise upward as on the limb, sections are seen from above.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from digitise.anatomy import LimbKind
from digitise.care.change.compare import Change
from digitise.care.surface.place_words import direction_words
from digitise.geometry.rigid import Array
from digitise.output.figures import style
from digitise.output.model.form import TapeCheckForm
from digitise.shape.limb import Z95, Limb, girth, levels
from digitise.shape.section import section_outline

CHANGE_LABEL = "smaller  ←  change, mm  →  larger"
QUARTERS = (0.0, np.pi / 2, np.pi, 1.5 * np.pi)
# line style of the visit that counts and of the one it is held against
_Line = Literal["-"] | tuple[float, tuple[float, float]]
_LINES: tuple[tuple[str, _Line], ...] = ((style.NOW, "-"), (style.EARLIER, (0, (5, 2))))
_CUT = -np.pi / 2


class Named(NamedTuple):
    """A limb and its name in a legend."""

    name: str
    limb: Limb


# ---- girth profile -----------------------------------------------------------------------------------


def girth_profile(
    limbs: Sequence[Named], tape: Sequence[TapeCheckForm] = (), size_mm: tuple[float, float] = (88, 100)
) -> Figure:
    """Draw girth (across) along the limb (upward) with its 95 % band, and the tape's readings.

    Parameters
    ----------
    limbs
        One, or two: the one that counts first.
    tape
        Rows beside the first limb.
    size_mm
        Width and height on paper.
    """
    figure = style.blank(*size_mm)
    axes = figure.add_subplot()
    for (name, limb), (ink, line) in zip(limbs, _LINES, strict=False):
        z = levels(limb)
        values = girth(limb, z)
        low, high = values.interval_95
        axes.fill_betweenx(z, low, high, color=ink, alpha=0.22, linewidth=0)
        axes.plot(values.mean, z, color=ink, linestyle=line, label=f"{name}, band 95 %")
    _tape_points(axes, tape)
    axes.set_xlabel("girth, mm")
    axes.set_ylabel(_height_label(limbs[0].limb))
    figure.legend(loc="outside lower center", ncols=2, handlelength=2.4, columnspacing=1.2)
    return figure


def _height_label(limb: Limb) -> str:
    above = limb.kind == LimbKind.LEG and not limb.lying
    return "height above the mat, mm" if above else "height along the axis, mm"


def _tape_points(axes: Axes, tape: Sequence[TapeCheckForm]) -> None:
    for verdict, (marker, ink) in style.TAPE.items():
        rows = [row for row in tape if row.verdict == verdict]
        if rows:
            girths, heights = [row.tape_mm for row in rows], [row.height_mm for row in rows]
            axes.plot(
                girths,
                heights,
                marker,
                color="white",
                markeredgecolor=ink,
                markeredgewidth=1.3,
                markersize=5.5,
                label=f"tape: {verdict}",
            )


# ---- sections ----------------------------------------------------------------------------------------


def section_overlay(
    limbs: Sequence[Named], heights: Sequence[float], size_mm: tuple[float, float] = (180, 48)
) -> Figure:
    """Draw the sections at some heights side by side, all to one scale, seen from above with the front up.

    A single limb is drawn with its 95 % band.  Two limbs must lie in one frame; the first counts.
    """
    figure = style.blank(*size_mm)
    panels = figure.subplots(1, len(heights), squeeze=False)[0]
    reach = [_section(axes, limbs, height) for axes, height in zip(panels, heights, strict=True)]
    for axes, own in zip(panels, reach, strict=True):
        _frame(axes, own, max(reach), limbs[0].limb)
    _scale_bar(panels[0], max(reach))
    figure.legend(handles=_section_keys(limbs), loc="outside lower center", ncols=3, handlelength=2.4)
    return figure


def _section(axes: Axes, limbs: Sequence[Named], height: float) -> float:
    """Draw the sections at one height about the first one's middle, and return how far they reach, mm."""
    rings = [section_outline(limb, height) for _, limb in limbs]
    middle = (rings[0].line.min(axis=0) + rings[0].line.max(axis=0)) / 2
    if len(rings) == 1:
        axes.fill(*(rings[0].outer - middle).T, color=style.NOW, alpha=0.25, linewidth=0)
        axes.fill(*(rings[0].inner - middle).T, color="white", linewidth=0)
    for ring, (ink, line) in reversed(list(zip(rings, _LINES, strict=False))):
        axes.plot(*(ring.line - middle).T, color=ink, linestyle=line)
    axes.set_title(f"{height:.0f} mm", loc="center")
    return max(float(np.abs(ring.line - middle).max()) for ring in rings)


def _section_keys(limbs: Sequence[Named]) -> list[Line2D | Patch]:
    keys: list[Line2D | Patch] = [
        Line2D([], [], color=ink, linestyle=line, label=name)
        for (name, _), (ink, line) in zip(limbs, _LINES, strict=False)
    ]
    if len(limbs) == 1:
        keys.append(Patch(color=style.NOW, alpha=0.25, label="95 % band"))
    return keys


def _frame(axes: Axes, own: float, reach: float, limb: Limb) -> None:
    """Give a section panel the scale of all, and the words for its four sides."""
    axes.set_aspect("equal")
    axes.set_axis_off()
    axes.set_xlim(-1.3 * reach, 1.3 * reach)
    axes.set_ylim(-1.3 * reach, 1.25 * reach)
    away = own + 0.14 * reach
    for theta in QUARTERS:
        x, y = away * np.cos(theta), away * np.sin(theta)
        turned = 90 if abs(x) > abs(y) else 0
        words = direction_words(limb, theta)
        axes.text(x, y, words, ha="center", va="center", fontsize=7, rotation=turned, color=style.FAINT)


def _scale_bar(axes: Axes, reach: float) -> None:
    x, y = -1.25 * reach, -1.28 * reach
    axes.plot([x, x + 50], [y, y], color=style.TEXT, linewidth=1.4, solid_capstyle="butt")
    axes.text(x, y + 0.04 * reach, "50 mm", ha="left", va="bottom", fontsize=7)


# ---- change, unrolled --------------------------------------------------------------------------------


def change_reach(change: Change) -> float:
    """Return where the change scale ends, whole mm: the greatest clear change, 2 mm at least."""
    clear = np.where(change.chart.clear, np.abs(change.chart.change_mm.mean), 0.0)
    return float(max(2.0, np.ceil(clear.max())))


def change_chart(change: Change, size_mm: tuple[float, float] = (104, 100)) -> Figure:
    """Draw the change of a limb's surface unrolled: direction across, cut open at the back, height upward.

    Blue is smaller and brown is larger; lines of equal change are broken where the limb is
    smaller.  Grey with dots is no clear change: the 95 % interval of that place holds zero.
    """
    figure = style.blank(*size_mm)
    axes = figure.add_subplot()
    chart = change.chart
    theta, mean, sd = _cut_open(chart.theta, chart.change_mm.mean, chart.change_mm.sd)
    degrees, reach = np.degrees(theta), change_reach(change)
    steps = np.linspace(-reach, reach, 41)
    filled = axes.contourf(
        degrees, chart.z, np.clip(mean, -reach, reach), steps, cmap=style.CHANGE, vmin=-reach, vmax=reach
    )
    # how far the interval stays from zero; below zero there is no clear change
    room = np.abs(mean) - Z95 * sd
    axes.contourf(degrees, chart.z, room, [-np.inf, 0.0], colors=[style.NO_CLEAR_CHANGE], hatches=["...."])
    _contours(axes, degrees, chart.z, np.where(room > 0, mean, np.nan), reach)
    _chart_axes(axes, change)
    figure.colorbar(filled, ax=axes, ticks=_ticks(reach), pad=0.02).set_label(CHANGE_LABEL, size=7.5)
    key = Patch(
        facecolor=style.NO_CLEAR_CHANGE, hatch="....", edgecolor="black", linewidth=0, label="no clear change"
    )
    figure.legend(handles=[key], loc="outside lower center", handlelength=2.4, title=which_against(change))
    return figure


def which_against(change: Change) -> str | None:
    """Return which side of the body is larger or smaller than which; None of two visits of one limb."""
    if not change.mirrored:
        return None
    limb, side = change.first.kind, change.first.side
    other, own = f"{side.other} {limb}", f"{side} {limb}"
    return f"{other}, mirrored, against the {own}"


def _contours(axes: Axes, degrees: Array, z: Array, clear_mm: Array, reach: float) -> None:
    """Draw lines of equal change where it is clear; the library breaks those below zero."""
    every = max(1.0, float(np.ceil(reach / 5)))
    steps = every * _nonzero(reach / every)
    steps = steps[(steps > np.nanmin(clear_mm, initial=0.0)) & (steps < np.nanmax(clear_mm, initial=0.0))]
    if len(steps):
        lines = axes.contour(degrees, z, clear_mm, steps, colors=style.TEXT, linewidths=0.5)
        axes.clabel(lines, fmt="%+.0f", fontsize=6.5)


def _cut_open(theta: Array, *maps: Array) -> tuple[Array, ...]:
    """Return directions from the cut once round, both ends included, and maps (Z, T) that go with them."""
    start = int(np.argmin(np.abs(np.angle(np.exp(1j * (theta - _CUT))))))
    first = np.angle(np.exp(1j * theta[start]))
    once = first + np.linspace(0.0, 2 * np.pi, len(theta) + 1)
    opened = (np.roll(one, -start, axis=1) for one in maps)
    return (once, *(np.concatenate([one, one[:, :1]], axis=1) for one in opened))


def _nonzero(count: float) -> Array:
    steps = np.arange(-np.floor(count), np.floor(count) + 1)
    return np.asarray(steps[steps != 0])


def _ticks(reach: float) -> Array:
    every = max(1.0, float(np.ceil(reach / 4)))
    return np.asarray(every * np.arange(-np.floor(reach / every), np.floor(reach / every) + 1))


def _chart_axes(axes: Axes, change: Change) -> None:
    low = np.degrees(_CUT)
    places = low + 90.0 * np.arange(5)
    words = [direction_words(change.first, float(np.radians(place))) for place in places]
    axes.set_xticks(places, words)
    axes.set_xlim(places[0], places[-1])
    axes.set_ylabel(_height_label(change.first))
    axes.set_xlabel("direction, seen from outside")
    for part in change.parts[1:]:
        axes.axhline(part.segment.low, color=style.TEXT, linewidth=0.6, linestyle=(0, (2, 2)), zorder=3)
    for part in change.parts:
        middle = (part.segment.low + part.segment.high) / 2
        axes.text(
            places[0] + 4,
            middle,
            part.segment.name,
            fontsize=7,
            va="center",
            zorder=4,
            bbox={"facecolor": "white", "alpha": 0.75, "linewidth": 0, "pad": 1.0},
        )
