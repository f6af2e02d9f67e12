"""Change of many limbs over weeks as a figure: a line for each limb, median and quartiles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from digitise.care.course.cohort import LEAST_LIMBS, Change, Week
from digitise.output.figures import style

Group = tuple[Sequence[Sequence[Change]], Sequence[Week]]
"""The limbs of one kind, and their weeks."""


def cohort_figure(groups: Mapping[str, Group], size_mm: tuple[float, float] = (180, 100)) -> Figure:
    """Draw percent change by weeks since the first visit, a panel for legs and one for arms.

    Below each panel stands how many limbs were measured in each week.  Weeks after the last one with a median
    are left out, for single limbs that are followed for years would press all others together.

    Parameters
    ----------
    groups
        By ``leg`` and ``arm``, those that there are.
    size_mm
        Of the figure, width and height.
    """
    figure = style.blank(*size_mm)
    panels = figure.subplots(2, len(groups), squeeze=False, sharex="col", height_ratios=(5, 1))
    for number, (limb, (limbs, weeks)) in enumerate(groups.items()):
        upper, lower = panels[:, number]
        shown = _shown(weeks)
        _lines(upper, limbs, shown)
        upper.set_title(f"{limb}s: {len(limbs)}")
        _counts(lower, shown)
        if number == 0:
            upper.set_ylabel("change of volume since the first visit, %")
            lower.set_ylabel("limbs")
    middle = any(week.quartiles and week.week > 0 for _, weeks in groups.values() for week in weeks)
    figure.legend(handles=_keys(middle=middle), loc="outside lower center", ncols=3)
    return figure


def _shown(weeks: Sequence[Week]) -> Sequence[Week]:
    last = max((week.week for week in weeks if week.quartiles and week.week > 0), default=weeks[-1].week)
    return [week for week in weeks if week.week <= last]


def _lines(axes: Axes, limbs: Sequence[Sequence[Change]], weeks: Sequence[Week]) -> None:
    paths = [np.array([(one.weeks, one.change_percent.mean) for one in limb]) for limb in limbs]
    # many lines stay readable when each is faint
    strength = float(np.clip(12.0 / len(paths), 0.15, 0.6))
    axes.add_collection(LineCollection(paths, colors=style.FAINT, linewidths=0.6, alpha=strength))
    end = weeks[-1].week
    seen = np.concatenate([path[path[:, 0] <= end + 0.5, 1] for path in paths])
    axes.set_ylim(*_room(seen))
    middle = [(week.week, *week.quartiles) for week in weeks if week.quartiles]
    if middle:
        when, low, median, high = zip(*middle, strict=True)
        axes.fill_between(when, low, high, color=style.NOW, alpha=0.25, linewidth=0)
        axes.plot(when, median, color=style.NOW, marker="o", markersize=3.5)
    axes.axhline(0.0, color=style.TEXT, linewidth=0.8)
    axes.set_xlim(-0.5, end + 0.5)


def _room(values: np.ndarray) -> tuple[float, float]:
    """Return the ends of an axis that holds the values, zero, and a little more."""
    low, high = min(float(values.min()), 0.0), max(float(values.max()), 0.0)
    margin = 0.06 * (high - low) or 1.0
    return low - margin, high + margin


def _counts(axes: Axes, weeks: Sequence[Week]) -> None:
    axes.bar([week.week for week in weeks], [week.limbs for week in weeks], width=0.8, color=style.GRID)
    axes.set_xlabel("weeks since the first visit")
    axes.yaxis.set_major_locator(MaxNLocator(2, integer=True))
    axes.xaxis.set_major_locator(MaxNLocator(10, integer=True))
    axes.grid(visible=False)


def _keys(*, middle: bool) -> tuple[Line2D | Patch, ...]:
    one = Line2D([], [], color=style.FAINT, linewidth=0.8, label="one limb")
    if not middle:
        none = Line2D(
            [], [], linestyle="none", label=f"no median: fewer than {LEAST_LIMBS} limbs in each week"
        )
        return one, none
    return (
        one,
        Line2D([], [], color=style.NOW, marker="o", markersize=3.5, label="median of the week's limbs"),
        Patch(color=style.NOW, alpha=0.25, label="middle half (quartiles)"),
    )
