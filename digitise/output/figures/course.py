"""The course of a limb over its visits as a figure: volume and excess with their bands."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

import numpy as np
from matplotlib.axes import Axes
from matplotlib.dates import AutoDateLocator, DateFormatter
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from digitise.care.course.course import Course
from digitise.care.course.visits import RepeatError
from digitise.output.figures import style
from digitise.shape.limb import Z95, Estimate
from digitise.words.numbers import day_pattern


def course_figure(course: Course, size_mm: tuple[float, float] = (180, 66)) -> Figure:
    """Draw volume, and beside it excess where the other limb was measured, against the date of the visit.

    The band is the 95 % interval of each figure.  The bars are 1.96 times the error of repeated measurement,
    which counts when visits are compared (:class:`RepeatError`).
    """
    figure = style.blank(*size_mm)
    times = [point.visit.taken for point in course.points]
    volumes = [point.visit.volume for point in course.points]
    over = [(point.visit.taken, point.excess.excess_ml) for point in course.points if point.excess]
    panels = figure.subplots(1, 2 if over else 1, squeeze=False)[0]
    _panel(panels[0], times, volumes, course.error, style.NOW, "o")
    panels[0].set_ylabel("volume, mL")
    if over:
        _panel(panels[1], [when for when, _ in over], [ml for _, ml in over], None, style.EARLIER, "D")
        panels[1].set_ylabel("excess over the other limb, mL")
        panels[1].axhline(0.0, color=style.FAINT, linewidth=0.8)
    keys = (
        Line2D([], [], color=style.NOW, marker="o", markersize=4, label="visit"),
        Patch(color=style.NOW, alpha=0.22, label="95 % interval"),
        Line2D(
            [], [], color=style.TEXT, marker="|", linestyle="none", markersize=9, label=_bars(course.error)
        ),
    )
    figure.legend(handles=keys, loc="outside lower center", ncols=3)
    return figure


def _bars(error: RepeatError) -> str:
    return f"repeat error of {error.sem_percent:.1f} %, 95 %: what counts between visits"


def _panel(
    axes: Axes,
    times: Sequence[datetime],
    readings: Sequence[Estimate[float]],
    error: RepeatError | None,
    ink: str,
    marker: str,
) -> None:
    values = [reading.mean for reading in readings]
    low, high = zip(*(reading.interval_95 for reading in readings), strict=True)
    when = np.array([time.replace(tzinfo=None) for time in times], dtype="datetime64[s]")
    axes.fill_between(when, low, high, color=ink, alpha=0.22, linewidth=0)
    if len(readings) == 1:
        axes.vlines(when, low, high, color=ink, alpha=0.3, linewidth=8)
    axes.plot(when, values, color=ink, marker=marker, markersize=4)
    if error is not None:
        half = [Z95 * error.sem(value) for value in values]
        axes.errorbar(when, values, half, fmt="none", ecolor=style.TEXT, elinewidth=0.9, capsize=2.5)
    locator = AutoDateLocator(minticks=2, maxticks=5)  # type: ignore[no-untyped-call]
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(DateFormatter(day_pattern()))  # type: ignore[no-untyped-call]
    axes.margins(x=0.06, y=0.12)
