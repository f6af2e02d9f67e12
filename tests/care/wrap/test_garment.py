import dataclasses
from itertools import pairwise

import numpy as np
import pytest
from solid_limbs import belief, cone_radius, limb

from digitise.care.surface.landmarks import find_landmarks
from digitise.care.wrap.garment import CONFIRM, NOT_STABLE, girth_list
from digitise.errors import PlanError
from digitise.shape.limb import girth
from digitise.tape.points import girth_points

ANKLE, CALF, KNEE = 150.0, 330.0, 440.0


def profile(theta, z):
    """Mean radius through a narrow place at 150, a wide one at 330 and a narrow one at 440 mm."""
    knots = [80.0, ANKLE, 240.0, CALF, KNEE, 520.0]
    values = [42.0, 36.0, 46.0, 56.0, 51.0, 60.0]
    from scipy.interpolate import PchipInterpolator

    return PchipInterpolator(knots, values)(z) + 0 * theta


@pytest.fixture(scope="module")
def leg():
    return limb(profile)


def by_letter(result):
    return {entry.letter: entry for entry in result.entries}


def test_candidates_are_where_the_profile_turns(leg):
    marks = find_landmarks(leg)
    # knots every 25 mm blunt a turn; a height grid of 2 mm
    assert marks.narrow.height_mm == pytest.approx(ANKLE, abs=6)
    assert marks.wide.height_mm == pytest.approx(CALF, abs=6)
    assert marks.upper_narrow.height_mm == pytest.approx(KNEE, abs=6)
    assert ANKLE < marks.bend.height_mm < CALF


def test_candidates_have_intervals_that_cover(leg, rng):
    root = np.linalg.cholesky(belief()[1])
    truth = find_landmarks(leg)
    inside = 0
    for _ in range(40):
        marks = find_landmarks(limb(profile, deviation=root @ rng.standard_normal(len(root))))
        for name in ("narrow", "wide", "upper_narrow"):
            low, high = getattr(marks, name).interval_95
            inside += low - 2 <= getattr(truth, name).height_mm <= high + 2
    # 95 % of 120, less twice the sd of such a count
    assert inside >= 109


def test_letters_with_a_source_come_unasked(leg):
    result = girth_list(leg, stable=True)
    assert [entry.letter for entry in result.entries] == ["B", "C"]
    assert {"G", "H", "T"} <= set(result.missing)
    assert result.notes[0] == CONFIRM
    assert not any("not known" in note for note in result.notes)


def test_a_point_lies_between_its_neighbours_whatever_is_known_of_its_height(leg):
    entries = girth_list(leg, optional=True).entries
    for below, above in pairwise(entries):
        assert below.height_95[1] <= above.height_mm
        assert above.height_95[0] >= below.height_mm
    assert all(entry.height_95[0] <= entry.height_mm <= entry.height_95[1] for entry in entries)


def test_letters_that_are_not_found_are_named_when_all_are_asked_for(leg):
    listed = girth_list(leg, optional=True)
    names = [entry.letter for entry in listed.entries]
    assert sorted([*names, *listed.missing]) == sorted(point.letter for point in girth_points(leg.kind))


def test_optional_letters_are_marked(leg):
    found = by_letter(girth_list(leg, optional=True, stable=True))
    assert list(found) == ["B", "B1", "C", "D"]
    assert all("memory" in found[letter].note for letter in ("B1", "D"))
    assert found["B"].note == ""


def test_values_are_the_limbs(leg):
    entry = by_letter(girth_list(leg))["C"]
    value = girth(leg, np.array([entry.height_mm]))
    assert entry.girth_mm == pytest.approx(float(value.mean[0]))
    assert entry.girth_95 == pytest.approx([float(end[0]) for end in value.interval_95])
    assert entry.height_95[0] <= entry.height_mm <= entry.height_95[1]
    assert (entry.length_name, entry.set_by_hand, entry.source) == ("lC", False, "secondary")


def test_heights_set_by_hand_replace_proposals(leg):
    found = by_letter(girth_list(leg, {"B": 140.0, "E": 470.0}))
    assert found["B"].height_mm == 140
    assert found["B"].height_95 == (140, 140)
    assert found["B"].set_by_hand
    assert "memory" in found["E"].note
    assert list(found) == ["B", "C", "E"]


def test_a_height_set_by_hand_keeps_its_place_among_the_proposals(leg):
    """B is the smallest girth above the ankle bones, C the largest of the calf: B lies below C."""
    above = by_letter(girth_list(leg))["C"].height_mm + 50.0
    with pytest.raises(PlanError, match=r"do not rise .*: B at"):
        girth_list(leg, {"B": above})


def test_course_decides(leg):
    with pytest.raises(PlanError, match="still changes"):
        girth_list(leg, stable=False)
    assert NOT_STABLE in girth_list(leg, stable=False, override=True).notes
    assert any("not known" in note for note in girth_list(leg).notes)


@pytest.mark.parametrize(
    ("heights", "message"),
    [
        ({"Q": 200.0}, "'Q' is no girth point of a leg"),
        ({"C1": 200.0}, "no girth point of a leg"),
        ({"F": 900.0}, "outside the measured segment, 100 to 500 mm"),
        ({"B": float("nan")}, "outside the measured segment"),
        ({"B": 300.0, "C": 200.0}, "do not rise"),
        ({"B": 200.0, "C": 200.0}, "do not rise"),
    ],
)
def test_bad_heights_are_refused(leg, heights, message):
    with pytest.raises(PlanError, match=message):
        girth_list(leg, heights)


def test_cone_has_no_proposals():
    result = girth_list(limb(lambda theta, z: cone_radius(z) + 0 * theta))
    assert result.entries == ()
    assert {"B", "C"} <= set(result.missing)


def test_arm_letters_are_all_from_memory(leg):
    arm = dataclasses.replace(leg, kind="arm")
    assert girth_list(arm).entries == ()
    assert [entry.letter for entry in girth_list(arm, optional=True).entries] == ["C", "D"]
    assert "memory" in girth_list(arm, {"E": 440.0}).entries[0].note


def test_narrow_place_at_the_end_says_so():
    # narrowest at the lower end of the segment
    def shape(theta, z):
        return 38 + 18 * np.exp(-(((z - 330) / 90) ** 2)) + 0.01 * (z - 100) + 0 * theta

    entry = by_letter(girth_list(limb(shape)))["B"]
    assert entry.height_mm == 100
    assert "may lie beyond" in entry.note
