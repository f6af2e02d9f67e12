"""Two feet are found on the mat from the ground that they hide: drawn legs whose ankles are known."""

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import look_at

from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.capture.surroundings.footprints import find_stands
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.workflow.stands import is_on_far_side

SIZE = (2000, 1500)
SKIN, PAPER, FLOOR = (190, 140, 110), (240, 240, 238), (120, 118, 116)
HEEL, TOES, HALF = 65.0, 180.0, 45.0  # of a drawn foot, from the ankle, mm
FRONT, LEFT, RIGHT = (0.0, 1800.0, 600.0), (-1800.0, 0.0, 600.0), (1800.0, 0.0, 600.0)
ABOVE = (0.0, 500.0, 1300.0)
# cells of 5 mm, one of them lost to the blur of the picture, and half of what the front view adds behind a
# foot that is turned out
WITHIN_MM = 15.0

(MAT,) = [board for board in sheet_field(sheet_set("roll")).boards if board.role == "mat"]
ROLL = [(MAT, Pose.identity())]


def laid(name, x, y):
    """Return one of the home-printed pages of a mat and where it lies."""
    boards = {board.name: board for board in sheet_field(sheet_set("a4")).boards}
    return boards[name], Pose(np.eye(3), np.array([x, y, 0.0]))


# as drawn on the page of instructions: 297 mm across the middle one, 210 mm across those beside it
PAGES = [laid("mat", 0.0, 0.0), laid("mat-left", -253.5, 43.5), laid("mat-right", 253.5, 43.5)]


def camera_at(place):
    lens = Lens(1500.0, (np.array(SIZE) - 1) / 2)
    return Camera(lens, look_at(np.array(place, float), np.array([0.0, 0.0, 200.0])), SIZE)


def filled(picture, camera, points, colour):
    hull = cv2.convexHull(np.round(camera.project(points)).astype(np.int32).reshape(-1, 1, 2))
    cv2.fillConvexPoly(picture, hull, colour)


def box(low, high):
    return np.stack(np.meshgrid(*zip(low, high, strict=True)), axis=-1).reshape(-1, 3)


def modules(quad):
    """Return the dark squares of a marker of 64: its border, and half of those within."""
    step = np.linspace(0.0, 1.0, 9)
    (left, top), width = quad[0], quad[1, 0] - quad[0, 0]
    for row in range(8):
        for column in range(8):
            if (row + column) % 2 and 0 < row < 7 and 0 < column < 7:
                continue
            x, y = left + width * step[[column, column + 1]], top - width * step[[row, row + 1]]
            yield np.array([(x[0], y[0]), (x[1], y[0]), (x[1], y[1]), (x[0], y[1])])


def leg(x, y):
    """Return the two boxes of a leg whose ankle's middle is at (x, y)."""
    yield box((x - HALF, y - HEEL, 0.0), (x + HALF, y + TOES, 50.0))
    yield box((x - 40.0, y - 50.0, 0.0), (x + 40.0, y + 50.0, 600.0))


def seen_from(place, ankles, skin=SKIN, mats=ROLL):
    """Draw the mat and legs, the farthest first; return pixels, camera and sheets."""
    camera = camera_at(place)
    picture = np.empty((SIZE[1], SIZE[0], 3), np.uint8)
    picture[:] = FLOOR
    for board, pose in mats:
        filled(picture, camera, pose.apply(box((*(-board.size / 2), 0.0), (*(board.size / 2), 0.0))), PAPER)
        for quad in board.corners:
            for module in modules(quad):
                filled(picture, camera, pose.apply(np.column_stack([module, np.zeros(4)])), (30, 30, 30))
    for ankle in sorted(ankles, key=lambda at: -np.linalg.norm(camera.centre[:2] - at)):
        for solid in leg(*ankle):
            filled(picture, camera, solid, skin)
    return picture, camera, mats


def views(ankles, places=(FRONT, LEFT, RIGHT), skin=SKIN, mats=ROLL):
    return [seen_from(place, ankles, skin, mats) for place in places]


def test_print_in_grain_is_no_part_of_a_foot(rng):
    """As much grain as compressed print shows in a dim room gives dark ink any hue; both feet stand on it."""
    ankles = [(-112.0, -55.0), (105.0, 60.0)]
    seen = [
        (np.clip(np.rint(picture + rng.normal(0.0, 15.0, picture.shape)), 0, 255).astype(np.uint8), *rest)
        for picture, *rest in views(ankles)
    ]
    found = find_stands(seen)
    np.testing.assert_allclose([found.left, found.right], ankles, atol=WITHIN_MM)


@settings(max_examples=8, deadline=None)
@given(
    left=st.tuples(st.floats(-140, -90), st.floats(-120, 60)),
    right=st.tuples(st.floats(90, 140), st.floats(-120, 60)),
    skin=st.sampled_from([SKIN, (232, 194, 168), (98, 62, 44)]),
)
def test_both_ankles_are_found_wherever_the_feet_stand(left, right, skin):
    found = find_stands(views([left, right], skin=skin))
    assert np.abs(np.array(found.left) - left).max() < WITHIN_MM
    assert np.abs(np.array(found.right) - right).max() < WITHIN_MM


def test_what_one_leg_hides_behind_the_other_is_no_third_foot():
    """From the front and the left the corner behind both legs is hidden; the view from the right tells."""
    ankles = [(-110.0, -100.0), (110.0, 40.0)]
    found = find_stands(views(ankles, (FRONT, LEFT, RIGHT, ABOVE)))
    assert np.abs(np.array([found.left, found.right]) - ankles).max() < WITHIN_MM


def test_feet_on_home_printed_pages_are_found_as_far_as_these_reach():
    """The pages end 105 mm behind the middle and 192 mm before it: a foot reaches beyond them."""
    ankles = [(-185.0, 10.0), (190.0, -40.0)]
    found = find_stands(views(ankles, mats=PAGES))
    assert np.abs(np.array([found.left, found.right]) - ankles).max() < WITHIN_MM


def test_where_the_heel_is_beyond_the_mat_the_toes_tell():
    found = find_stands(views([(-110.0, -230.0), (110.0, 20.0)]))
    # feet of 220 to 290 mm: the drawn one is 245
    assert abs(found.left[1] + 230.0) < WITHIN_MM + 15.0


@pytest.mark.parametrize(
    ("ankles", "words"),
    [([], "No foot"), ([(-100.0, 0.0)], "One foot"), ([(-46.0, 0.0), (46.0, 0.0)], "feet touch|One foot")],
)
def test_other_than_two_feet_are_refused_with_a_cure(ankles, words):
    with pytest.raises(OutlineError, match=words) as told:
        find_stands(views(ankles))
    assert "both feet stand on the mat" in told.value.do


def test_a_thing_shorter_than_a_heel_is_no_foot():
    """A belt, 20 mm wide, lies beside one foot: no ankle can stand over it."""
    seen = views([(-110.0, 0.0)])
    for picture, camera, _ in seen:
        filled(picture, camera, box((40.0, 65.0, 0.0), (200.0, 85.0, 3.0)), SKIN)
    with pytest.raises(OutlineError, match="One foot"):
        find_stands(seen)


def test_no_mat_is_no_foot():
    picture, camera, _ = seen_from(FRONT, [])
    with pytest.raises(OutlineError, match="No mat"):
        find_stands([(picture, camera, [])])


@pytest.mark.parametrize(
    ("place", "far"), [(FRONT, False), (LEFT, False), (RIGHT, True), ((1100.0, 1300.0, 600.0), False)]
)
def test_the_left_leg_is_not_looked_at_from_the_right(place, far):
    """Half way between front and right is 45 degrees: seen from there the right leg stands just beside it."""
    left, right = np.array([-110.0, 0.0, 0.0]), np.array([110.0, 0.0, 0.0])
    assert is_on_far_side(camera_at(place), left, right) is far


def test_feet_of_the_papers_own_hue_are_told_by_the_print_they_hide():
    """The palest skin beside paper in its shade: no hue tells them apart, but the mat's markers are gone."""
    ankles = [(-155.0, 0.0), (160.0, 20.0)]  # on the markers beside the mat's plain middle
    pale = (225, 225, 223)
    found = find_stands([seen_from(place, ankles, pale) for place in (FRONT, LEFT, RIGHT)])
    for stand, true in zip((found.left, found.right), ankles, strict=True):
        # what print tells lies up to 20 mm from where it is told, on any side
        assert np.abs(np.subtract(stand, true)).max() <= WITHIN_MM + 20.0
