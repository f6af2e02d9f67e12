"""What a photograph not yet taken would tell, against the same photograph taken."""

import numpy as np
import pytest
import synthetic
from prior_limbs import draw_limb

from digitise.shape.checks.next_view import azimuth_deg, best_next_view, volume_after_turn
from digitise.shape.fit import fit_limb
from digitise.shape.limb import volume
from digitise.tape.rows import TapeRow

LEVELS = (90.0, 410.0)


def measured(solid, directions):
    views = synthetic.exact_views(solid, synthetic.walking_cameras(directions), 65, 435, step=3)
    heights = np.array([120.0, 250.0, 380.0])
    tape = tuple(TapeRow(float(z), float(g)) for z, g in zip(heights, solid.girth(heights), strict=True))
    return views, fit_limb(views, tape, from_mm=LEVELS[0], to_mm=LEVELS[1]).limb


@pytest.mark.parametrize("third", [135.0, 150.0, 225.0])
def test_the_interval_foretold_is_that_of_the_photograph_taken(third):
    solid = draw_limb(np.random.default_rng(3))
    views, two = measured(solid, (90.0, 180.0))
    told = best_next_view(two, [view.camera for view in views], (third, third))
    _, three = measured(solid, (90.0, 180.0, third))
    # edges foretold in blocks of 10 mm with the sd of a clear edge; those of the picture have their own
    assert told.then.sd == pytest.approx(volume(three, *LEVELS).sd, rel=0.15)
    assert told.now.sd == pytest.approx(volume(two, *LEVELS).sd)
    assert 0.0 < told.narrower < 1.0


@pytest.mark.parametrize("turn", [45.0, -45.0])
def test_the_interval_foretold_after_a_turn_is_that_of_all_four_photographs(turn):
    solid = draw_limb(np.random.default_rng(3))
    views, two = measured(solid, (90.0, 180.0))
    told = volume_after_turn(two, [view.camera for view in views], turn)
    _, four = measured(solid, (90.0, 180.0, 90.0 + turn, 180.0 + turn))
    assert told.sd == pytest.approx(volume(four, *LEVELS).sd, rel=0.15)
    # and more than a third photograph alone tells
    third = best_next_view(two, [view.camera for view in views], (135.0, 135.0))
    assert told.sd < third.then.sd


def test_the_best_is_from_a_direction_that_nobody_has_taken():
    views, two = measured(draw_limb(np.random.default_rng(5)), (90.0, 180.0))
    cameras = [view.camera for view in views]
    best = best_next_view(two, cameras, (90.0, 270.0))
    assert best is not None
    away = [abs((best.azimuth_deg - azimuth_deg(camera, two) + 90.0) % 180.0 - 90.0) for camera in cameras]
    assert min(away) >= 25.0
    others = [best_next_view(two, cameras, (at, at)) for at in (120.0, 135.0, 150.0, 210.0, 225.0, 240.0)]
    assert best.then.sd <= min(view.then.sd for view in others) * 1.02


def test_without_a_free_direction_there_is_none():
    views, two = measured(draw_limb(np.random.default_rng(5)), (90.0, 180.0))
    assert best_next_view(two, [view.camera for view in views], (85.0, 95.0)) is None
