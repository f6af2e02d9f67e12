"""Two limbs of one visit: which is larger, by how much, and when there is nothing to say."""

import dataclasses
from datetime import UTC, datetime, timedelta

import pytest
import synthetic
from output_support import measure

from digitise.errors import CourseError
from digitise.output.model.files import model_text
from digitise.shape.fit import fit_limb
from digitise.workflow.both.beside import both_limbs
from digitise.workflow.visits.measured import VisitMeasurement

WHEN = datetime(2026, 3, 2, 9, 15, tzinfo=UTC)


def cone(slimmer, side, low=80, high=420):
    """A measured cone of known volume; its levels are 10 mm apart at both ends."""
    solid = synthetic.EllipticFrustum(
        0, 800, (40.0 - slimmer, 50.0 - slimmer), (80.0 - slimmer, 70.0 - slimmer), (0, 0), (0, 0)
    )
    cameras = synthetic.walking_cameras(target=(0.0, 0.0, 250.0))
    limb = fit_limb(synthetic.exact_views(solid, cameras, low, high, step=2), side=side).limb
    measured = measure()
    fit = dataclasses.replace(measured.fit, limb=limb)
    return solid, model_text(dataclasses.replace(measured, fit=fit)).summary


@pytest.fixture(scope="module")
def left():
    return cone(0.0, "left")


@pytest.fixture(scope="module")
def right():
    return cone(6.0, "right")


def visit(model, hours=0.0):
    return VisitMeasurement(model, WHEN + timedelta(hours=hours), "")


def test_the_excess_is_that_of_the_solids(left, right):
    (solid, mine), (slim, theirs) = left, right
    for first, other in ((mine, theirs), (theirs, mine)):
        found = both_limbs(visit(first), [visit(other, 2.0)])
        assert (found.larger, found.smaller, found.is_clear) == ("left", "right", True)
        large, small = (one.volume(found.from_mm, found.to_mm) for one in (solid, slim))
        # each volume of exact edges is within 0.2 % (tests of the fit)
        assert found.volumes[0].mean == pytest.approx(large, rel=2e-3)
        assert found.excess.excess_ml.mean == pytest.approx(large - small, abs=2e-3 * (large + small))
        assert found.excess.percent.mean == pytest.approx(100 * (large / small - 1), abs=0.5)
    assert both_limbs(visit(mine), [visit(theirs)], bilateral=True).excess.percent is None


def test_the_same_sheets_are_off_alike_on_both_sides(left, right):
    same, other = "a" * 64, "b" * 64
    (mine, theirs) = (one.model_copy(update={"field_sha256": same}) for _, one in (left, right))
    found = both_limbs(visit(mine), [visit(theirs)])
    elsewhere = both_limbs(visit(mine), [visit(theirs.model_copy(update={"field_sha256": other}))])
    prints = [
        model.volume_print_sd_ml * volume.mean / model.volume_ml
        for model, volume in zip((mine, theirs), found.volumes, strict=True)
    ]
    # a cone of 3,000 mL: half a percent of all lengths is more than half a percent of it
    assert prints[0] > 0.005 * found.volumes[0].mean
    apart, together = (one.excess.excess_ml.sd for one in (elsewhere, found))
    # (a^2 + b^2) of the prints become (a - b)^2
    assert apart**2 - together**2 == pytest.approx(2 * prints[0] * prints[1], rel=1e-3)


def test_limbs_alike_have_no_clear_difference(left):
    same = left[1].model_copy(update={"side": "right"})
    found = both_limbs(visit(left[1]), [visit(same)])
    assert found.excess.excess_ml.mean == 0
    assert not found.is_clear


@pytest.mark.parametrize("hours", [-13.0, 13.0, 24.0 * 21])
def test_another_day_is_another_visit(left, right, hours):
    assert both_limbs(visit(left[1]), [visit(right[1], hours)]) is None


def test_what_is_no_opposite_limb_does_not_count(left, right):
    arm = right[1].model_copy(update={"limb": "arm"})
    assert both_limbs(visit(left[1]), [visit(left[1]), visit(arm)]) is None
    nearer = cone(3.0, "right")[1]
    found = both_limbs(visit(left[1]), [visit(right[1], 3.0), visit(nearer, -1.0)])
    assert found.volumes[1].mean == pytest.approx(both_limbs(visit(left[1]), [visit(nearer)]).volumes[1].mean)


def test_limbs_that_share_too_little_are_refused(left):
    high = left[1].model_copy(update={"side": "right", "from_mm": 400.0, "to_mm": 700.0})
    with pytest.raises(CourseError, match="share less than"):
        both_limbs(visit(left[1]), [visit(high)])


def test_a_standing_limb_is_not_held_against_a_lying_one(left, right):
    lay = right[1].model_copy(update={"lying": "on-back"})
    with pytest.raises(CourseError, match="not placed alike"):
        both_limbs(visit(left[1]), [visit(lay)])
    both = [one.model_copy(update={"lying": "on-back"}) for one in (left[1], right[1])]
    assert both_limbs(visit(both[0]), [visit(both[1])]).is_clear
