"""Photographs of a lying arm that show the mat alone: the hand's, or the sheet's marks were missed."""

from types import SimpleNamespace

import pytest
from conftest import ROOT

from digitise.capture.sheets.field import read_field
from digitise.errors import PhotoError, ShapeError
from digitise.workflow import check
from digitise.workflow.posture.of_hand import of_the_hand, require_arms

FIELD = read_field(ROOT / "sample-images/arm-week0/field.json")
MAT, SHEET = (next(board.ids for board in FIELD.boards if board.role == role) for role in ("mat", "backdrop"))
NAMES = [f"arm-{n}.jpg" for n in (1, 2, 3)]


def seen(*boards):
    return [SimpleNamespace(id=marker) for ids in boards for marker in ids]


ARM, HAND = seen(MAT, SHEET), seen(MAT)


def test_an_arms_photograph_without_the_sheets_marks_is_named():
    hands = of_the_hand([ARM, HAND, ARM], FIELD, "palm-down")
    assert hands == (1,)
    with pytest.raises(PhotoError, match="No sheet under the arm") as told:
        require_arms(NAMES, hands)
    assert told.value.where == "arm-2.jpg"
    assert "2 of the arm are left" in told.value.what


def test_three_of_the_arm_are_enough_whatever_else_there_is():
    require_arms([*NAMES, "hand-1.jpg"], of_the_hand([ARM, ARM, ARM, HAND], FIELD, "palm-up"))


def test_too_few_photographs_of_the_arm_alone_are_refused_elsewhere():
    require_arms(NAMES[:2], of_the_hand([ARM, ARM], FIELD, "palm-down"))


@pytest.fixture
def inspected(monkeypatch):
    """Photographs of which nothing else is to be said."""
    from digitise.capture.checks.inspection import Inspection

    monkeypatch.setattr(check, "inspect_photos", lambda *_, **__: Inspection((), (), None))
    return [SimpleNamespace(name=name) for name in NAMES]


def test_the_check_says_it_too(inspected):
    (finding,) = check.check_visit(inspected, [ARM, HAND, ARM], FIELD, lying="palm-down").findings
    assert (finding.code, finding.severity, finding.photo) == ("no-sheet", "refuse", "arm-2.jpg")
    assert not check.check_visit(inspected, [ARM, ARM, ARM], FIELD, lying="palm-down").findings
    # a leg has no hand
    assert not check.check_visit(inspected, [ARM, HAND, ARM], FIELD, lying="on-back").findings


@pytest.mark.parametrize(("limb", "lying"), [("leg", "palm-down"), ("arm", "on-back")])
def test_the_check_refuses_a_limb_that_cannot_lie_so(inspected, limb, lying):
    with pytest.raises(ShapeError, match=f"No {limb} lies {lying}"):
        check.check_visit(inspected, [ARM, ARM, ARM], FIELD, limb=limb, lying=lying)
