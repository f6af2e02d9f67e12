"""Foam for the back of the foot: laid flat as it is on the foot, off the ankle's crease and off the toes."""

import dataclasses

import numpy as np
import pytest
import shapely
from standing_feet import RADIUS, TOES, elbow, leg_with_foot

from digitise.care.padding.foam import CREASE_GAP_MM
from digitise.care.padding.foam_selection import NOT_ASKED, TOO_SMALL, Foam
from digitise.care.padding.foot.areas import BEHIND_OUTER, TOP, foot_areas
from digitise.care.padding.foot.build import _builds
from digitise.care.padding.foot.foam import BY_HAND, flat_back, foot_foam, with_foot_foam
from digitise.care.padding.foot.places import FootPlace
from digitise.care.surface.foot_way import way_on
from digitise.errors import PlanError
from digitise.geometry.mesh import Mesh


def place_of(vertices, area=TOP, kind="bulge"):
    return FootPlace(
        kind, area, area, "a usual foot", np.zeros(3), 8.0, 1.0, 40.0, 20.0, 4.0, "clear", 2.0, "", None,
        by_difference=False, vertices=vertices,
    )  # fmt: skip


@pytest.fixture(scope="module", params=["left", "right"])
def standing(request):
    _, foot = leg_with_foot(request.param, _builds()[0])
    return request.param, foot


def test_a_tube_is_laid_flat_to_the_millimetre():
    body = elbow()
    planes = way_on(body, TOES, 180.0)[1]
    back = flat_back(body, planes)
    # a point a third of the way round from the top, 50 mm before the bend
    for angle in (-1.0, -0.4, 0.0, 0.4, 1.0):
        y = float(planes.bend[1]) + 50.0
        point = np.array([[RADIUS * np.sin(angle), y, RADIUS + RADIUS * np.cos(angle)]])
        # the tube's ridge runs level: along is the distance from the bend, across the arc from the ridge
        ridge = float(planes.bend[0])
        arc = RADIUS * (angle - np.arcsin(ridge / RADIUS))
        assert back.at(point)[0] == pytest.approx([arc, 50.0], abs=0.6)


def test_area_on_the_flat_is_near_that_of_the_foot(standing):
    side, foot = standing
    body = Mesh(foot.vertices, foot.faces)
    planes = way_on(body, foot.belief.surface.ahead, foot.top_mm)[1]
    faces = foot_areas(side).of[TOP][body.faces].all(axis=1)
    corners = body.vertices[body.faces[faces]]
    true = 0.5 * np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    flat = flat_back(body, planes).at(corners.reshape(-1, 3)).reshape(-1, 3, 2)
    # a back that slopes both ways cannot be laid flat: a tenth is lost at most
    assert shapely.area(shapely.polygons(flat)).sum() == pytest.approx(true.sum(), rel=0.1)


def test_no_piece_crosses_the_crease_of_the_ankle_or_covers_the_toes(standing):
    side, foot = standing
    body = Mesh(foot.vertices, foot.faces)
    planes = way_on(body, foot.belief.surface.ahead, foot.top_mm)[1]
    longest = flat_back(body, planes).along.max()
    (piece,) = foot_foam(foot, side, place_of(foot_areas(side).of[TOP]), margin_mm=40.0)
    low, high = piece.lowest_mm, piece.lowest_mm + piece.outline[:, 1].max()
    # y = 0 is the bend, the trunk upward
    assert high <= -CREASE_GAP_MM / 2 + 0.1
    assert low >= -longest - 0.1
    assert piece.edge.startswith("Front edge about ")
    # seen from the skin's side: a left foot's outer edge is the person's left
    assert (piece.left_is == "outer side") == (side == "left")
    assert piece.side == side


def test_left_and_right_on_the_sheet_are_those_of_the_foot(standing):
    """A place on the outer half of the back lies on that side of the sheet's line, seen from the skin."""
    side, foot = standing
    outward = -1.0 if side == "left" else 1.0
    across = foot.vertices[:, 0] - foot.vertices[foot_areas(side).of[TOP], 0].mean()
    (piece,) = foot_foam(foot, side, place_of(foot_areas(side).of[TOP] & (outward * across > 8.0)))
    middle = shapely.Polygon(piece.outline).centroid.x - piece.axis_x_mm
    assert (middle < 0) == (piece.left_is == "outer side")


def test_behind_an_ankle_bone_the_hand_cuts(standing):
    side, foot = standing
    behind, top = (
        place_of(foot_areas(side).of[BEHIND_OUTER], BEHIND_OUTER),
        place_of(foot_areas(side).of[TOP]),
    )
    with pytest.raises(PlanError, match="no piece of foam for behind the outer ankle bone") as caught:
        foot_foam(foot, side, behind)
    assert caught.value.do == BY_HAND
    foam = with_foot_foam(Foam((), {1: NOT_ASKED}), foot, side, [top, behind])
    assert foam.of_place == {1: NOT_ASKED, 2: (1,), 3: BY_HAND}
    with pytest.raises(PlanError, match="no piece of foam"):
        with_foot_foam(Foam((), {}), foot, side, [top, behind], chosen=[2])
    only = with_foot_foam(Foam((), {}), foot, side, [top, behind], chosen=[1])
    assert only.of_place == {1: (1,), 2: NOT_ASKED}


def test_a_place_too_small_for_foam_says_so(standing):
    side, foot = standing
    few = np.zeros(len(foot.vertices), bool)
    few[np.flatnonzero(foot_areas(side).of[TOP])[:3]] = True
    small = dataclasses.replace(place_of(few), place="a speck")
    assert with_foot_foam(Foam((), {}), foot, side, [small]).of_place == {1: TOO_SMALL}


def test_lengths_out_of_range_are_refused(standing):
    side, foot = standing
    with pytest.raises(PlanError, match="margin of 90 mm"):
        with_foot_foam(Foam((), {}), foot, side, [place_of(foot_areas(side).of[TOP])], margin_mm=90.0)
