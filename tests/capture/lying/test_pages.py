"""Printed pages and rolls laid out as the instructions say leave a plain middle for a lying limb."""

import pytest
from lying_limbs import cameras_above, laid
from shapely.geometry import Point, Polygon

from digitise.capture.surroundings.plain_areas import plain_areas


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
