import dataclasses

import numpy as np
import pytest
import synthetic

from digitise.errors import ShapeError
from digitise.shape.fit import fit_limb
from digitise.shape.levels import foot_top, hand_bottom, hand_top
from digitise.shape.limb import extent
from digitise.tape.rows import TapeRow

TUBE = synthetic.EllipticFrustum(0, 800, (50, 50), (60, 60))


def tube_views(low=60, high=760):
    return synthetic.exact_views(TUBE, synthetic.walking_cameras(), low, high, step=2)


def leg_with_foot():
    """A leg whose depth grows downward below 150 mm by 0.02 mm per mm^2: 1 mm per mm is reached at 100 mm."""
    z = np.arange(0.0, 801.0, 10)
    instep = np.maximum(150 - z, 0.0) ** 2 * 0.01
    values = np.zeros((len(z), 5))
    values[:, 0] = 45 + instep / 4
    values[:, 3] = -instep / 4
    return synthetic.HarmonicSolid.through(z, values)


def test_default_levels_are_those_seen():
    levels = fit_limb(tube_views(low=120)).levels
    assert (levels.from_mm, levels.to_mm) == (120, 760)
    assert levels.foot_top_mm is None


def test_a_leg_is_not_reported_from_its_ankle_bones_down():
    # adult ankle bones reach 70-75 mm
    levels = fit_limb(tube_views(low=60)).levels
    assert (levels.from_mm, levels.to_mm) == (80, 760)
    assert levels.foot_top_mm is None


def test_default_levels_start_above_the_foot():
    views = synthetic.exact_views(leg_with_foot(), synthetic.walking_cameras(), 20, 760, step=2)
    levels = fit_limb(views).levels
    # growth is 1 mm per mm at 100 mm; it is measured over 20 mm on a grid of 5 mm
    assert 95 <= levels.foot_top_mm <= 105
    assert levels.from_mm == 10 * np.ceil(levels.foot_top_mm / 10)


def test_an_arm_has_a_wrist_instead_of_a_foot():
    # the solid is narrowest from 150 mm on; levels are looked at every 5 mm and rounded up to 10
    views = synthetic.exact_views(leg_with_foot(), synthetic.walking_cameras(), 20, 760, step=2)
    levels = fit_limb(views, limb="arm").levels
    assert levels.foot_top_mm is None
    assert 150 <= levels.from_mm <= 160
    taped = fit_limb(views, (TapeRow(130.0, 290.0),), limb="arm").levels
    assert taped.from_mm == 130


@pytest.mark.parametrize(("height", "start"), [(90.0, 90.0), (65.0, 100.0), (102.0, 100.0), (160.0, 100.0)])
def test_start_is_not_above_a_tape_row_on_the_leg(height, start):
    # the depth grows by 1.5 mm per mm at 75 mm
    views = synthetic.exact_views(leg_with_foot(), synthetic.walking_cameras(), 20, 760, step=2)
    assert fit_limb(views, (TapeRow(height, 300.0),)).levels.from_mm == start


def test_foot_top_of_a_straight_limb_is_none():
    levels = np.arange(0, 500, 5.0)
    assert foot_top(levels, np.full((2, len(levels)), 100.0)) is None


def test_unsure_ends_are_not_seen():
    views = tube_views()
    edge = views[0].edges[0]
    doubtful = dataclasses.replace(edge, sure=np.arange(len(edge.sure)) < 300)
    views = (dataclasses.replace(views[0], edges=(doubtful, views[0].edges[1])), views[1])
    assert fit_limb(views).levels.to_mm == pytest.approx(660, abs=10)


@pytest.mark.parametrize(
    ("wanted", "message"),
    [
        ({"from_mm": 40.0}, "show the limb from 60 to 760 mm, but 40 to 760 mm was asked for"),
        ({"to_mm": 780.0}, "but 80 to 780 mm was asked for"),
        ({"from_mm": 300.0, "to_mm": 200.0}, "from 300 to 200 mm is not a usable segment"),
    ],
)
def test_levels_beyond_the_evidence_are_refused(wanted, message):
    with pytest.raises(ShapeError, match=message):
        fit_limb(tube_views(), **wanted)


def test_a_small_step_beyond_the_evidence_widens_the_interval():
    # the width along x is seen; between the harmonics' 70 mm and the radius's slope it soon is less so
    limb = fit_limb(tube_views(), from_mm=50.0).limb
    beyond, inside = extent(limb, np.array([50.0, 150.0]), 0.0).sd
    assert limb.from_mm == 50
    assert beyond > 1.2 * inside


def test_no_common_level_is_refused():
    views = tube_views()
    edges = tuple(dataclasses.replace(edge, sure=np.zeros(len(edge.sure), bool)) for edge in views[0].edges)
    with pytest.raises(ShapeError, match="view-1, view-2: The limb's edges are not surely seen"):
        fit_limb((dataclasses.replace(views[0], edges=edges), views[1]))


def test_an_arm_begins_at_its_wrist():
    # a hand 80 mm wide and 30 mm thick that narrows to a wrist of 52 x 40 mm at 200 mm, then widens upwards
    levels = np.arange(50.0, 551.0, 5.0)
    front = np.interp(levels, [50, 120, 200, 330, 550], [80, 84, 52, 78, 92])
    side = np.interp(levels, [50, 120, 200, 330, 550], [28, 30, 40, 70, 90])
    assert hand_top(levels, np.stack([front, side])) == 200.0


def test_a_hand_above_is_left_out_at_its_wrist():
    """Elbow, widest forearm, wrist at 240, knuckles at 320, fingertips, which are narrower than the wrist."""
    levels = np.arange(40.0, 430.0, 5.0)
    width = np.interp(levels, [40.0, 70.0, 240.0, 320.0, 425.0], [80.0, 86.0, 51.0, 85.0, 20.0])
    assert hand_bottom(levels, np.stack([width, 0.9 * width])) == 240.0
    assert hand_bottom(470.0 - levels[::-1], np.stack([width, width])[:, ::-1]) is None  # the hand is down
    below = levels < 200.0  # no hand in the pictures
    assert hand_bottom(levels[below], np.stack([width, width])[:, below]) is None
    # a gap in one view is no wrist
    gap = np.where((levels > 330.0) & (levels < 400.0), np.nan, width)
    assert hand_bottom(levels, np.stack([width, gap])) == 240.0
    assert hand_bottom(levels, np.full((2, len(levels)), np.nan)) is None


def test_an_arm_without_a_hand_in_the_pictures_begins_where_it_is_seen():
    levels = np.arange(50.0, 551.0, 5.0)
    widths = np.stack([np.interp(levels, [50, 550], [55.0, 95.0])] * 2)
    assert hand_top(levels, widths) is None
    assert hand_top(levels, np.full((2, len(levels)), np.nan)) is None
