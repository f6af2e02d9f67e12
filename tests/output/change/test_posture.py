"""Two visits in different postures are compared with a warning."""

from dataclasses import replace

import pytest
from solid_limbs import cone_with, limb

from digitise.care.change.compare import compare
from digitise.errors import ModelError
from digitise.output.change.words import change_warnings


@pytest.mark.parametrize(
    ("first", "second", "warned"),
    [
        ("palm-down", "palm-up", True),
        ("palm-down", "palm-down", False),
        ("", "", False),
    ],
)
def test_another_posture_warns(first, second, warned):
    one = limb(cone_with(), kind="arm")
    change = compare(replace(one, lying=first), replace(one, lying=second))
    codes = [warning.code for warning in change_warnings(change, ((100.0, 500.0), (100.0, 500.0)))]
    assert ("posture" in codes) == warned


@pytest.mark.parametrize(("first", "second"), [("", "palm-down"), ("on-back", "")])
def test_a_standing_limb_is_not_compared_with_a_lying_one(first, second):
    """A standing limb's heights count from the mat, a lying one's from a landmark."""
    one = limb(cone_with(), kind="arm")
    with pytest.raises(ModelError, match="heights do not count from one place"):
        compare(replace(one, lying=first), replace(one, lying=second))
