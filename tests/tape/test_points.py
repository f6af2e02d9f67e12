"""The lettered points are those of the girth list, each with its source."""

import pytest

from digitise.tape.points import ADULT_GIRTHS_MM, ADULT_RANGE_MM, girth_points, known_letters


def test_letters_of_the_leg_from_the_foot_upward():
    letters = [point.letter for point in girth_points("leg")]
    assert letters == ["A", "Y", "B", "B1", "C", "D", "E", "F", "G", "K", "H", "T"]


def test_arm_letters_are_marked_as_unchecked():
    assert {point.source for point in girth_points("arm")} == {"memory"}


@pytest.mark.parametrize("limb", ["leg", "arm"])
def test_every_point_is_complete(limb):
    points = girth_points(limb)
    assert len({point.letter for point in points}) == len(points)
    for point in points:
        assert point.place
        assert point.source in ("secondary", "partly", "memory")
        assert point.body in ("", *ADULT_GIRTHS_MM)
        assert point.length in ("", f"l{point.letter}")
        assert point.letter in known_letters()


def test_range_of_a_limb_covers_its_girths():
    for limb, bodies in (
        ("leg", ("ankle", "calf", "knee", "thigh")),
        ("arm", ("wrist", "forearm", "upper arm")),
    ):
        low, high = ADULT_RANGE_MM[limb]
        assert low == min(ADULT_GIRTHS_MM[body][0] for body in bodies)
        assert high == max(ADULT_GIRTHS_MM[body][1] for body in bodies)
