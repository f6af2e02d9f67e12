"""Plain areas of marked backdrops, and their colour under gradients, shadows and before a limb."""

import numpy as np
import pytest
from conftest import CASES, Case
from scipy.spatial.transform import Rotation
from shapely.geometry import MultiPoint, Polygon
from silhouettes import true_camera
from strips import CAMERA, FLOOR, PANEL, made_strip, panel_area, rectangle

from digitise.capture.sheets.field import Board, read_field
from digitise.capture.sheets.layout import sheet_field, sheet_set
from digitise.capture.surroundings.backdrop import Panel, find_panel, relearnt, squared_distance
from digitise.capture.surroundings.plain_areas import Area, plain_areas
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose

STANDS_OUT = 20.0  # squared distance from which the limb is looked for
PLAIN = 12.0
A4 = sheet_field(sheet_set("a4"))


def on_board(area: np.ndarray, pose: Pose) -> Polygon:
    flat = pose.inverse().apply(area)
    np.testing.assert_allclose(flat[:, 2], 0.0, atol=1e-9)
    return Polygon(flat[:, :2])


def inner_rectangle(board: Board) -> tuple[float, float, float, float]:
    """Left, right, bottom, top between the marker columns and below the marker row of an arch of markers."""
    x, y = board.corners[..., 0], board.corners[..., 1]
    side = np.ptp(board.corners[0, :, 0])
    return x.min() + side, x.max() - side, y.min(), y.max() - side


# --------------------------------------------------------------------------------------- areas


@pytest.mark.parametrize("name", sorted(CASES))
@pytest.mark.parametrize("number", [1, 2])
def test_each_backdrop_that_faces_the_camera_has_one_plain_area(name, number):
    case = Case(name, CASES[name] / name)
    field, photo = read_field(case.field), case.truth["photos"][number - 1]
    poses = {b["name"]: Pose(np.array(b["R"]), np.array(b["t"])) for b in photo["boards"]}
    for board in field.boards:
        if board.role != "backdrop" or board.name not in poses:
            continue
        pose = poses[board.name]
        areas = plain_areas([(board, pose)], true_camera(photo))
        assert len(areas) == 1
        whole = on_board(areas[0].outline, pose)
        left, right, bottom, top = inner_rectangle(board)
        side = np.ptp(board.corners[0, :, 0])
        # what lies between the markers, less their white zones of 0.3 sides; corners are cut off round
        across, up = right - left - 0.6 * side, top - bottom - 0.3 * side
        assert whole.area == pytest.approx(across * up, rel=0.02)
        np.testing.assert_allclose(
            whole.bounds, [left + 0.3 * side, bottom, right - 0.3 * side, top - 0.3 * side], atol=1.0
        )
        inner = on_board(areas[0].inner, pose)
        assert whole.contains(inner)
        rim = 0.13 * np.sqrt(whole.area)
        assert inner.area == pytest.approx((across - 2 * rim) * (up - 2 * rim), rel=0.05)


def wall(tilt: float = 0.0, step: float = 0.0) -> list[tuple[Board, Pose]]:
    """Five pages round one panel, 430 mm behind the limb; the upper ones tilted or set back."""
    places = {
        "upper-left": (-330, 800),
        "upper-right": (330, 800),
        "lower-left": (-330, 300),
        "lower-right": (330, 300),
        "top": (0, 980),
    }
    upright = np.array([[-1.0, 0, 0], [0, 0, 1], [0, 1, 0]])  # faces +y, where the camera stands
    boards = {board.name: board for board in A4.boards}
    found = []
    for where, (x, z) in places.items():
        off = where.startswith("upper")
        turn = Rotation.from_rotvec([tilt if off else 0.0, 0, 0]).as_matrix() @ upright
        found.append((boards[f"backdrop-a-{where}"], Pose(turn, np.array([x, -430.0 - step * off, z]))))
    return found


def test_pages_of_one_wall_are_one_backdrop():
    areas = plain_areas(wall(), CAMERA)
    assert len(areas) == 1
    corners = np.concatenate(
        [
            pose.apply(np.c_[board.corners.reshape(-1, 2), np.zeros(board.corners.size // 2)])
            for board, pose in wall()
        ]
    )
    whole = Polygon(areas[0].outline[:, [0, 2]])
    assert whole.contains(MultiPoint([[0, 300], [0, 700], [-150, 450], [150, 450]]))  # between the pages
    assert MultiPoint(corners[:, [0, 2]]).convex_hull.contains(whole.buffer(-1e-6))


def test_pages_stuck_on_by_eye_are_still_one_wall():
    flat = plain_areas(wall(), CAMERA)[0]
    bent = plain_areas(wall(tilt=np.radians(4.0), step=15.0), CAMERA)
    assert len(bent) == 1
    sizes = [Polygon(area.outline[:, [0, 2]]).area for area in (flat, bent[0])]
    assert sizes[1] == pytest.approx(sizes[0], rel=0.02)


def test_a_board_in_a_plane_of_its_own_is_another_backdrop():
    boards = wall()
    board, pose = boards[0]
    turned = Pose(Rotation.from_rotvec([0, 0, np.pi / 3]).as_matrix() @ pose.rotation, pose.translation)
    alone = plain_areas([(board, turned)], CAMERA)
    both = plain_areas([(board, turned), *boards[1:]], CAMERA)
    assert len(both) == len(alone) + len(plain_areas(boards[1:], CAMERA))


def test_a_board_seen_from_behind_is_left_out():
    board = next(b for b in A4.boards if b.role == "backdrop")
    behind = Camera(
        CAMERA.lens, CAMERA.camera_from_world @ Pose(np.diag([-1.0, -1, 1]), np.zeros(3)), CAMERA.size
    )
    assert len(plain_areas(wall(), CAMERA)) == 1
    assert plain_areas(wall(), behind) == []
    assert plain_areas([], CAMERA) == []
    assert plain_areas([(board, wall()[0][1])], behind) == []


def side_wall(x: float) -> list[tuple[Board, Pose]]:
    """Five pages round a wall that meets that of `wall` at a right angle, at the offset x on the left."""
    quarter = Pose(Rotation.from_rotvec([0, 0, -np.pi / 2]).as_matrix(), np.array([x + 430.0, 300.0, 0.0]))
    names = {board.name: board for board in A4.boards}
    return [(names[board.name.replace("-a-", "-b-")], quarter @ pose) for board, pose in wall()]


def test_walls_go_on_to_the_corner_where_they_meet():
    back, side = plain_areas([*wall(), *side_wall(-700.0)], CAMERA)
    # (offset along the wall from the corner, height) of what lies between the sheets and the corner
    for area, across, along in ((back, 1, back.beyond[:, 0] + 700.0), (side, 0, side.beyond[:, 1] + 430.0)):
        assert along.min() == pytest.approx(0.0, abs=1.0)
        assert np.ptp(area.beyond[:, across]) < 1e-6
        whole, rest = (Polygon(ring[:, [1 - across, 2]]) for ring in (area.outline, area.beyond))
        assert whole.intersection(rest).area < 1.0
        assert rest.bounds[3] <= 980.0 + 0.5 * 210.0  # no higher than the highest page


def test_without_a_corner_nothing_goes_on():
    assert all(not len(area.beyond) for area in plain_areas(wall(), CAMERA))
    far = plain_areas([*wall(), *side_wall(-2400.0)], CAMERA)  # two metres off it is another room's
    assert all(not len(area.beyond) for area in far)


@pytest.mark.parametrize(("colour", "goes_on"), [(PANEL, True), (FLOOR, False)])
def test_only_what_looks_like_the_wall_is_the_wall(rng, colour, goes_on):
    """To the left of 60 mm the wall's own sheets, to the right of them what lies before its corner."""
    half = panel_area(-270.0, -80.0, rim=60.0)
    half = Area(half.outline, half.inner, half.below, rectangle(-80.0, 270.0, 90.0, 880.0))
    plain = made_strip(rng)
    limb = plain.limb & (plain.strip.heights < 740.0)[:, None]  # sheets reach higher
    beyond = lambda x, z: (x > -80.0) & (z > 90.0) & ~limb  # noqa: E731
    made = made_strip(rng, edits=[(beyond, colour)])
    panel = find_panel(made.strip, [half])
    x, _ = np.meshgrid(made.strip.offsets, made.strip.heights)
    there = within(made) & (x > -70.0)
    if not goes_on:
        assert not panel.inside[there].any()
        return
    assert panel.inside[there].all()
    assert (panel.distance2[there & ~limb & (x > 75.0)] < PLAIN).mean() > 0.95
    assert (panel.distance2[there & limb] > STANDS_OUT).mean() > 0.95


def test_a_page_full_of_markers_has_no_plain_area():
    mat = A4.mat
    facing = wall()[0][1]
    assert plain_areas([(mat, facing)], CAMERA) == []


# --------------------------------------------------------------------------------------- colour


def gradient(x, z):
    return 1.0 - 0.25 * (x + 340) / 680 - 0.15 * (z / 900)


def soft_shadow(x, z):
    return 1.0 - 0.35 * np.exp(-(((x - 140) / 60) ** 2) - ((z - 400) / 250) ** 2)


def within(made, margin=4.0):
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    return (np.abs(x) < 270 - margin) & (z > 90 + margin) & (z < 880 - margin)


def shares(made, panel: Panel) -> tuple[float, float]:
    """Share of the bare panel that looks plain, and of the limb before it that stands out."""
    there = within(made)
    bare = there & ~made.limb & ~np.roll(made.limb, 2, axis=1) & ~np.roll(made.limb, -2, axis=1)
    return (
        float((panel.distance2[bare] < PLAIN).mean()),
        float((panel.distance2[there & made.limb] > STANDS_OUT).mean()),
    )


@pytest.mark.parametrize(
    "light",
    [None, gradient, soft_shadow, lambda x, z: gradient(x, z) * soft_shadow(x, z)],
    ids=["even", "gradient", "shadow", "both"],
)
@pytest.mark.parametrize(
    "panel", [PANEL, (236, 236, 236), (70, 95, 170), (40, 40, 42)], ids=["green", "white", "blue", "black"]
)
def test_the_limb_stands_out_of_a_panel_of_any_colour_and_light(rng, panel, light):
    made = made_strip(rng, panel=panel, light=light)
    plain, limb = shares(made, find_panel(made.strip, [made.area]))
    # 3.5 sd of three channels leaves 0.7 % outside; noise of dark colours is not Gaussian after the logarithm
    assert plain > 0.97
    assert limb > 0.97


def test_inside_is_the_panel_and_nothing_else(rng):
    made = made_strip(rng)
    panel = find_panel(made.strip, [made.area])
    assert panel.inside[within(made, 2.0)].all()
    assert not panel.inside[~within(made, -4.0)].any()
    assert not panel.distance2[~panel.inside].any()


@pytest.mark.parametrize("place", [-215.0, -160.0, 180.0])
def test_another_leg_in_the_rim_does_not_make_skin_backdrop(rng, place):
    made = made_strip(rng, edits=[(lambda x, _: np.abs(x - place) < 35, (186, 140, 112))])
    panel = find_panel(made.strip, [made.area])
    _, limb = shares(made, panel)
    assert limb > 0.97
    x, _ = np.meshgrid(made.strip.offsets, made.strip.heights)
    between = within(made) & ~made.limb & (np.abs(x - place) > 45) & (np.abs(x) > 75)
    assert (panel.distance2[between] < PLAIN).mean() > 0.9


def test_a_panel_too_narrow_to_learn_from_is_left_out(rng):
    made = made_strip(rng, area=panel_area(-20, 20, 100, 140, rim=5.0))
    assert not find_panel(made.strip, [made.area]).inside.any()


def test_a_panel_that_reaches_behind_the_camera_is_left_out(rng):
    made = made_strip(rng)
    round_us = np.array([[-500.0, -900, 0], [500, -900, 0], [500, 2500, 0], [-500, 2500, 0], [-500, -900, 0]])
    panel = find_panel(made.strip, [Area(round_us, round_us * 0.9, round_us[:0], round_us[:0])])
    assert not panel.inside.any()


def test_two_panels_are_learnt_apart(rng):
    halves = [panel_area(-270, -4, rim=60.0), panel_area(4, 270, rim=60.0)]
    made = made_strip(rng, edits=[(lambda x, z: (x < -80) & (z > 90), (70, 95, 170))])
    panel = find_panel(made.strip, halves)
    far = within(made) & (np.abs(np.meshgrid(made.strip.offsets, made.strip.heights)[0]) > 110)
    assert (panel.distance2[far] < PLAIN).mean() > 0.97


def test_the_floor_is_not_asked(rng):
    made = made_strip(rng, floor=PANEL)
    other = made_strip(np.random.default_rng(20260101), floor=FLOOR)
    a, b = (find_panel(m.strip, [m.area]).distance2 for m in (made, other))
    higher = within(made, 10.0)
    np.testing.assert_allclose(a[higher], b[higher], rtol=0.2, atol=1.0)


# --------------------------------------------------------------------------------------- shadows


def distance2(brightness: float, hue: float = 0.0) -> float:
    """Of a difference in log units whose standard deviation is 0.03 in every channel."""
    scaled = np.array([[brightness, hue, 0.0]], np.float32) / np.float32(0.03)
    return float(squared_distance(scaled, np.array([brightness], np.float32), 0.2)[0])


def test_a_shadow_counts_a_fifth_and_light_in_full():
    assert distance2(0.3) == pytest.approx(100.0, rel=1e-5)
    assert distance2(-0.3) == pytest.approx(100.0 * 0.2**2, rel=1e-5)
    assert distance2(0.0, 0.3) == pytest.approx(100.0, rel=1e-5)
    assert distance2(0.0) == 0.0


def test_darker_than_any_shadow_counts_in_full_again():
    # 0.9 log units are a shadow's depth; what goes beyond adds whole
    assert distance2(-1.5) == pytest.approx(((0.2 * 0.9 + 0.6) / 0.03) ** 2, rel=1e-4)
    steps = [distance2(b) for b in np.linspace(-2.5, 0.0, 60)]
    assert np.all(np.diff(steps) < 1e-3)


def test_the_backdrop_is_learnt_anew_outside_a_limb_of_its_tone(rng):
    made = made_strip(rng, skin=tuple(int(1.1 * value) for value in PANEL))
    found = relearnt(made.strip, find_panel(made.strip, [made.area]), made.limb)
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    plain = (np.abs(x) < 250.0) & (z > 110.0) & (z < 860.0) & ~made.limb
    assert np.mean(found[plain] < PLAIN) > 0.97
    # 10 % of the stored values are 22 % of the light: seven times the spread that any paper has
    assert np.mean(found[made.limb & (z > 110.0) & (z < 860.0)] > STANDS_OUT) > 0.9
