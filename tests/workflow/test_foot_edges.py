"""A foot whose edge is lost in part, and side views that say another foot than the one from above."""

from types import SimpleNamespace

import numpy as np
import pytest

from digitise.errors import OutlineError
from digitise.shape.foot.figures import foot_length
from digitise.shape.foot.prior import usual_foot
from digitise.shape.statistical.planes import TangentPlanes
from digitise.shape.statistical.solve import ShapeBelief
from digitise.shape.statistical.surface import PlacedShape
from digitise.workflow.foot import _contradict, _require_bare

PLANES = 100
PHOTO = SimpleNamespace(name="photo-1.jpg")


def missed(share, mm):
    """A foot, and planes of one photograph of which a share is missed by so much."""
    residual = np.where(np.arange(PLANES) < share * PLANES, mm, 0.3)
    nowhere = np.zeros((PLANES, 3))
    one = np.ones(PLANES)
    planes = TangentPlanes(nowhere, nowhere, nowhere, 0 * one, one, np.zeros(PLANES, int), one)
    return ShapeBelief(PlacedShape.usual(usual_foot("left")), np.eye(1), residual), planes


def test_paper_taken_for_skin_along_a_tenth_of_the_edge_is_refused():
    with pytest.raises(OutlineError, match="part of the foot's edge"):
        _require_bare(*missed(0.1, 9.5), 0, PHOTO)


@pytest.mark.parametrize(("share", "mm"), [(0.1, 5.5), (0.04, 20.0)])
def test_what_rendered_feet_missed_passes(share, mm):
    _require_bare(*missed(share, mm), 0, PHOTO)


def known(longer_mm):
    """A foot so much longer than usual, its differences known to a tenth of a standard deviation."""
    prior = usual_foot("left")
    usual = PlacedShape.usual(prior)
    step = np.zeros(len(usual.parameters))
    step[0] = 0.1

    def length(surface):
        return foot_length(ShapeBelief(surface, np.zeros((len(step),) * 2), np.zeros(0))).mean

    grows = (length(usual.moved(step)) - length(usual)) / 0.1
    step[0] = longer_mm / grows
    return ShapeBelief(usual.moved(step), 0.01 * np.eye(len(step)), np.zeros(0))


def test_only_a_larger_foot_from_the_side_contradicts_the_one_from_above():
    """What stands behind makes a foot larger; from above alone its back and ends may be guessed too large."""
    assert _contradict(known(25.0), known(0.0))
    assert not _contradict(known(-25.0), known(0.0))
