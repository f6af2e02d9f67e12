"""Printed pages and rolls laid out as the instructions say leave a plain middle for a lying limb."""

import numpy as np
import pytest
from lying_limbs import cameras_above
from shapely.geometry import Point, Polygon

from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.capture.surroundings.plain_areas import plain_areas
from digitise.geometry.rigid import Pose
from digitise.paper import PAGE_MM


def laid(paper):
    """Boards of the mat and one backdrop, world_from_board, the mat's middle page at the origin."""
    boards = {board.name: board for board in sheet_field(sheet_set(paper)).boards}
    if paper == "roll":
        middle = np.array([0.0, -370.0, -0.6])
        return [(boards["mat"], flat(0, 0)), (boards["backdrop-a"], Pose(np.eye(3), middle))], middle
    short, long = PAGE_MM[paper]
    places = {
        "mat": (0.0, 0.0),
        "mat-left": (-(long + short) / 2, (long - short) / 2),
        "mat-right": ((long + short) / 2, (long - short) / 2),
    }
    middle = np.array([0.0, -(450.0 + short / 2), 0.0])
    for side, x in (("left", -345.0), ("right", 345.0)):
        for row, bottom in (("lower", -540.0), ("upper", 133.0)):
            places[f"backdrop-a-{row}-{side}"] = (x, middle[1] + bottom + long / 2)
    return [(boards[name], flat(*at)) for name, at in places.items()], middle


def flat(x, y):
    return Pose(np.eye(3), np.array([x, y, 0.0]))


@pytest.mark.parametrize("paper", ["a4", "letter", "roll"])
def test_the_middle_is_plain(paper):
    boards, middle = laid(paper)
    (camera,) = cameras_above((50.0,), middle)
    areas = [Polygon(area.outline[:, :2]) for area in plain_areas(boards, camera)]
    plain = max(areas, key=lambda area: area.area)
    # the limb's middle line, and as far aside as a limb 200 mm up is cast from 50 degrees: 170 mm
    for x in (-170.0, 0.0, 170.0):
        for y in (-420.0, -200.0, 0.0):
            assert plain.contains(Point(middle[0] + x, middle[1] + y)), (x, y)
