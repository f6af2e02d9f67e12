"""The cohort chart shows every limb, the middle of the weeks, and no week of a single limb beyond them."""

import numpy as np

from digitise.care.course.cohort import Change, by_week
from digitise.output.figures.cohort import cohort_figure
from digitise.output.figures.style import png
from digitise.shape.limb import Estimate


def limb(*points):
    return tuple(Change(weeks, 100 + value, value, Estimate(value, 1.0)) for weeks, value in points)


def test_weeks_are_the_nearest_and_a_limb_counts_once_in_each():
    weeks = by_week([limb((0, 0), (1.4, -2), (1.6, -4), (2.4, -6))] * 5)
    assert [(week.week, week.limbs, week.quartiles[1]) for week in weeks] == [
        (0, 5, 0),
        (1, 5, -2),
        (2, 5, -5),
    ]


def test_fewer_than_five_limbs_have_no_median():
    assert [week.quartiles for week in by_week([limb((0, 0), (1, -1))] * 4)] == [None, None]


def test_the_chart_holds_every_limb_and_ends_with_the_last_median():
    limbs = [limb((0, 0), (1, -n), (2, -2 * n)) for n in range(1, 7)] + [limb((0, 0), (150, -30))]
    figure = cohort_figure({"leg": (limbs, by_week(limbs))})
    upper, lower = figure.axes
    assert len(upper.collections[0].get_segments()) == 7
    assert upper.get_xlim() == (-0.5, 2.5)
    low, high = upper.get_ylim()
    # the far visit of one limb is beyond the chart, all others are within
    assert -30 < low < -12
    assert high > 0
    (median,) = [line for line in upper.lines if len(line.get_xdata()) == 3]
    np.testing.assert_allclose(median.get_ydata(), [0, -3.5, -7])
    assert [bar.get_height() for bar in lower.patches] == [7, 6, 6]


def test_a_few_limbs_are_lines_alone_and_the_key_says_why():
    limbs = [limb((0, 0), (3, -4)), limb((0, 0), (60, -9))]
    figure = cohort_figure({"arm": (limbs, by_week(limbs))})
    assert figure.axes[0].get_xlim()[1] == 60.5
    assert "fewer than 5" in figure.legends[0].get_texts()[1].get_text()
    assert png(lambda: figure).startswith(b"\x89PNG")


def test_many_first_visits_alone_do_not_hide_the_later_ones():
    limbs = [limb((0, 0), (week, -4)) for week in range(1, 8)]
    assert cohort_figure({"leg": (limbs, by_week(limbs))}).axes[0].get_xlim()[1] == 7.5
