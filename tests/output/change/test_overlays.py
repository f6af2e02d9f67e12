"""Overlays show what stood before the camera: judged by OpenCV's projection of numbers in model.json."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.colors import to_rgb
from model_folders import model_folder
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation
from solid_limbs import cone_with, limb

from digitise.care.change.compare import compare
from digitise.care.change.motion import Alignment, InverseAlignment, moved
from digitise.geometry.rigid import Pose
from digitise.output.change.overlays import draw_overlay, find_overlays, surfaces
from digitise.output.change.viewpoints import all_stands, window
from digitise.output.figures import style
from digitise.output.figures.render import Window, camera_view
from digitise.output.model.file import read_model
from digitise.output.model.form import camera_from_form
from digitise.shape.mesh import limb_mesh

# the second limb is 6 mm slimmer all round, and has a heap of 14 mm at its back
FIRST = limb(lambda theta, z: cone_with()(theta, z) + 6.0)
SECOND = limb(cone_with((14.0, -np.pi / 2, 300.0)))
OTHER = limb(cone_with(), side="right")
FINE = 8  # parts of a picture's pixel to which the truth is drawn


@pytest.fixture(scope="module")
def models(tmp_path_factory):
    place = tmp_path_factory.mktemp("models")
    limbs = {"first": FIRST, "second": SECOND, "other": OTHER}
    return {name: read_model(model_folder(place / name, one)) for name, one in limbs.items()}


@pytest.fixture(scope="module")
def change():
    return compare(FIRST, SECOND, turn=0.0)


@pytest.fixture(scope="module")
def overlays(change, models):
    return find_overlays(change, models["first"].summary, models["second"].summary)


def with_cameras(summary, change_camera):
    """A summary whose cameras are those that ``change_camera`` makes of its own; None takes them away."""
    photos = tuple(
        photo.model_copy(update={"camera": change_camera and change_camera(photo.camera)})
        for photo in summary.photos
    )
    return summary.model_copy(update={"photos": photos})


def turned(form, degrees):
    """The camera's form with the camera carried round the vertical by so many degrees."""
    turn = Rotation.from_euler("z", -degrees, degrees=True).as_matrix()
    rotation = np.array(form.rotation) @ turn
    return form.model_copy(update={"rotation": tuple(map(tuple, rotation.tolist()))})


def projected(points, form):
    """Pixels (N, 2) by OpenCV from the numbers of a camera's form."""
    inner = np.array([[form.fx_px, 0, form.cx_px], [0, form.fy_px, form.cy_px], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(np.array(form.rotation))
    bends = np.array([form.k1, form.k2, 0, 0, 0])
    return cv2.projectPoints(points, turn, np.array(form.translation_mm), inner, bends)[0][:, 0]


def cover(mesh, form, part):
    """How much of each picture pixel a mesh covers, (H, W): all its faces filled by OpenCV, finely."""
    fine = np.zeros((part.size[1] * FINE, part.size[0] * FINE), np.uint8)
    # a fine pixel's centre lies half of it inside its corner
    at = (projected(mesh.vertices, form) - part.corner) / part.scale * FINE - 0.5
    for face in np.round(at[mesh.faces] * 16).astype(np.int32):
        cv2.fillConvexPoly(fine, face, 1, cv2.LINE_8, 4)
    return fine.reshape(part.size[1], FINE, part.size[0], FINE).mean(axis=(1, 3))


def least_iou(mask, off_px):
    """IoU of a mask and one whose edge lies ``off_px`` away all round: 1 - perimeter * off / area."""
    lines, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return 1 - sum(cv2.arcLength(line, True) for line in lines) * off_px / mask.sum()


def iou(a, b):
    return (a & b).sum() / (a | b).sum()


BENT = {"k1": -0.12, "k2": 0.05}


@pytest.mark.parametrize("lens", [{}, BENT], ids=["straight", "bent"])
@pytest.mark.parametrize("number", [0, 1])
def test_a_mesh_is_seen_where_opencv_projects_it(models, number, lens):
    form = models["first"].summary.photos[number].camera.model_copy(update=lens)
    mesh = limb_mesh(FIRST)
    low = projected(mesh.vertices, form).min(axis=0)
    part = Window(low - 20.3, (300, 400), 4.7)
    found = camera_view(mesh, np.ones_like(mesh.vertices), camera_from_form(form), part).pixels[..., 3]
    truth = cover(mesh, form, part)
    # a pixel has four samples: its edge is known to a quarter; what is filled reaches half a fine pixel out
    off = 0.25 + 0.5 / FINE
    assert iou(found >= 0.5, truth >= 0.5) > least_iou(truth >= 0.5, off)
    # nor is it beside its place: along its sides errors of single pixels average out; a flat end is known to
    # a quarter of a pixel, half of which moves the middle
    middle, wanted = (
        np.array([(m.sum(axis=k) * np.arange(m.shape[1 - k])).sum() / m.sum() for k in (0, 1)])
        for m in (found, truth)
    )
    assert np.all(np.abs(middle - wanted) < (0.02, 0.13))


def test_the_nearer_side_is_seen(models):
    camera = camera_from_form(models["first"].summary.photos[0].camera)
    mesh = limb_mesh(FIRST)
    towards = (mesh.vertices - [0, 0, 300]) @ (camera.centre * (1, 1, 0))
    colours = np.where(towards[:, None] > 0, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    low = camera.project(mesh.vertices).min(axis=0)
    pixels = camera_view(mesh, colours, camera, Window(low, (200, 500), 4.0)).pixels
    # from so near one sees a little less than the near half: none of the far one but its cut end
    below = pixels[60:]
    assert below[..., 0].max() > 0.5
    assert below[..., 2].max() == 0.0


def test_what_lies_beside_the_window_is_left_out(models):
    camera = camera_from_form(models["first"].summary.photos[0].camera)
    mesh = limb_mesh(FIRST)
    colours = np.random.default_rng(2).uniform(size=mesh.vertices.shape)
    low = camera.project(mesh.vertices).min(axis=0)
    whole = camera_view(mesh, colours, camera, Window(low, (120, 200), 4.0)).pixels
    part = camera_view(mesh, colours, camera, Window(np.add(low, (120, 200)), (30, 60), 4.0)).pixels
    assert_allclose(part, whole[50:110, 30:60], atol=1e-12)
    nothing = camera_view(mesh, colours, camera, Window(low - 9000.0, (30, 60), 4.0)).pixels
    assert not nothing.any()


# ---- the picture ---------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def figures(overlays):
    with style.styled():
        return [draw_overlay(overlays.both, stand, part) for stand, part in overlays.views]


def test_every_photograph_of_the_first_visit_has_its_picture(overlays):
    assert [(stand.of_first, stand.number) for stand, _ in overlays.views] == [(True, 1), (True, 2)]
    assert overlays.left_out == ()


@pytest.mark.parametrize("number", [0, 1])
def test_line_and_colours_lie_where_both_limbs_are_seen(figures, overlays, models, number):
    form = models["first"].summary.photos[number].camera
    part, axes = overlays.views[number][1], figures[number].axes[0]
    truth = cover(limb_mesh(overlays.both.change.first), form, part) >= 0.5
    (line,) = (c for c in axes.collections if hasattr(c, "levels"))
    (outline,) = (p for p in line.get_paths()[0].to_polygons() if len(p) > 100)
    drawn = np.zeros(truth.shape, np.uint8)
    own = (outline - part.corner) / part.scale - 0.5
    cv2.fillPoly(drawn, [np.round(own * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    # as above, and fillPoly sets every pixel that the line touches: half a pixel more
    assert iou(drawn > 0, truth) > least_iou(truth, 0.25 + 0.5 / FINE + 0.5)
    colours = np.asarray(axes.images[0].get_array())
    truth = cover(limb_mesh(overlays.both.change.second), form, part) >= 0.5
    assert iou(colours[..., 3] >= 0.5, truth) > least_iou(truth, 0.25 + 0.5 / FINE)
    assert_allclose(
        axes.images[0].get_extent(),
        [
            part.corner[0],
            part.corner[0] + part.scale * part.size[0],
            part.corner[1] + part.scale * part.size[1],
            part.corner[1],
        ],
    )


def test_colours_tell_what_the_comparison_found(overlays):
    """Where the heap stands out the second limb is brown, elsewhere it is blue or grey."""
    both = overlays.both
    back = np.abs(both.second.vertices - [0, both.second.vertices[:, 1].min(), 300]).max(axis=1) < 12
    red, _, blue = both.colours[back].T
    assert back.any()
    assert np.all(red > blue)
    ends = np.isclose(both.second.vertices[:, 2], 500) & np.all(both.colours == 1.0, axis=1)
    # the cut ends have white vertices of their own: a fan of 144 faces
    assert ends.sum() == 3 * 144
    grey = np.all(np.isclose(both.colours, to_rgb(style.NO_CLEAR_CHANGE)), axis=1)
    assert grey.any()


def test_words_tell_what_is_what(figures, change, models):
    words = [text.get_text() for text in figures[1].legends[0].get_texts()]
    assert words == ["outline: first visit", "smaller", "no clear change", "larger (striped)"]
    assert figures[1].legends[0].get_title().get_text() == "in colour: second visit"
    assert figures[1].axes[0].get_title() == "Seen from photograph 2 of the first visit"
    assert figures[1].axes[1].get_ylabel() == "smaller  ←  change, mm  →  larger"
    heights = [text.get_text() for text in figures[1].axes[0].texts]
    assert heights == ["100", "200", "300", "400", "500 mm"]


def test_only_common_heights_are_drawn():
    short = limb(cone_with(), low=150.0, high=400.0)
    both = surfaces(compare(FIRST, short, turn=0.0))
    for mesh in (both.first, both.second):
        assert_allclose([mesh.vertices[:, 2].min(), mesh.vertices[:, 2].max()], [150, 400])


def test_a_limb_that_lies_gets_a_wide_picture(overlays):
    stand = overlays.views[0][0]
    rolled = replace(stand.camera.camera_from_world, rotation=ROLL @ stand.camera.camera_from_world.rotation)
    camera = replace(stand.camera, camera_from_world=Pose(rolled.rotation, ROLL @ rolled.translation))
    lying = replace(stand, camera=camera)
    wide = window(lying, overlays.both.first.vertices, 300)
    assert wide.size[0] == 300 > wide.size[1]
    with style.styled():
        figure = draw_overlay(overlays.both, lying, wide)
    assert figure.axes[1].get_xlabel() == "smaller  ←  change, mm  →  larger"


ROLL = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])


# ---- the stands ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("degrees", "drawn"), [(0.0, []), (20.0, []), (45.0, [1, 2]), (70.0, [1])])
def test_stands_of_the_second_visit_are_added_where_they_differ(change, models, degrees, drawn):
    """The first camera stands a quarter turn on, so the second one carried by 70 degrees comes near it."""
    second = with_cameras(models["second"].summary, lambda form: turned(form, degrees))
    found = all_stands(change, models["first"].summary, second)
    assert [stand.number for stand in found if not stand.of_first] == drawn


def test_the_mirrored_limb_is_seen_from_the_first_ones_stands_only(models):
    sides = compare(FIRST, OTHER, mirrored=True, turn=0.0)
    second = with_cameras(models["other"].summary, lambda form: turned(form, 45.0))
    found = find_overlays(sides, models["first"].summary, second)
    assert [stand.of_first for stand, _ in found.views] == [True, True]
    with style.styled():
        figure = draw_overlay(found.both, *found.views[0])
    assert figure.axes[0].get_title() == "Seen from photograph 1 of the left leg"
    assert figure.legends[0].get_texts()[0].get_text() == "outline: left leg"
    assert figure.legends[0].get_title().get_text() == "in colour: right leg, mirrored"


@pytest.mark.parametrize(
    ("without", "views", "words"),
    [
        (("first", "second"), [], "of the models were taken are left out"),
        (("first",), [(False, 1), (False, 2)], "of the first model were taken are left out"),
        (("second",), [(True, 1), (True, 2)], ""),
    ],
)
def test_models_without_cameras_say_so(change, models, without, views, words):
    pair = [
        with_cameras(models[name].summary, None) if name in without else models[name].summary
        for name in ("first", "second")
    ]
    found = find_overlays(change, *pair)
    assert [(stand.of_first, stand.number) for stand, _ in found.views] == views
    assert [code for code, _ in found.left_out] == (["no-cameras"] if words else [])
    assert words in " ".join(text for _, text in found.left_out)


def looking_away(form):
    return form.model_copy(update={"cx_px": form.cx_px + 10_000.0})


def among_the_limb(form):
    return form.model_copy(update={"translation_mm": (0.0, 300.0, 0.0)})


def tiny(form):
    return form.model_copy(update={"fx_px": 1e-14, "fy_px": 1e-14})


def folded(form):
    return form.model_copy(update={"k1": -300.0})


@pytest.mark.parametrize("damage", [looking_away, among_the_limb, folded, tiny])
def test_a_photograph_that_shows_too_little_is_named(change, models, damage):
    first = with_cameras(models["first"].summary, damage)
    found = find_overlays(change, first, with_cameras(models["second"].summary, None))
    assert found.views == ()
    assert [code for code, _ in found.left_out] == ["stand-unseen", "stand-unseen"]
    assert "photograph 1 of the first visit" in found.left_out[0][1]


def test_a_window_keeps_within_its_photograph(overlays):
    stand, _ = overlays.views[0]
    points = overlays.both.first.vertices
    low = stand.camera.project(points).min(axis=0)
    high = stand.camera.project(points).max(axis=0)
    cut = replace(stand.camera, size=(stand.camera.size[0], int((low[1] + 3 * high[1]) / 4)))
    part = window(replace(stand, camera=cut), points, 500)
    assert np.all(part.corner >= -0.5)
    bottom = part.corner[1] + part.scale * part.size[1]
    # whole pixels: the last one may reach out
    assert bottom - part.scale <= cut.size[1] - 0.5 <= bottom + 1e-9


poses = st.tuples(st.floats(-3, 3), st.floats(-3, 3), st.floats(-3, 3), st.floats(-500, 500)).map(
    lambda v: Pose(Rotation.from_rotvec(v[:3]).as_matrix(), np.array([v[3], 20.0, -v[3]]))
)
motions = st.tuples(*[st.floats(-1, 1)] * 5).map(
    lambda v: motion(v[0], 30.0 * np.array(v[1:3]), 0.05 * np.array(v[3:]))
)


def motion(turn, shift, lean):
    pivot = np.array([10.0, -20.0, 300.0])
    none = np.zeros(0)
    return Alignment(turn, shift, lean, pivot, np.zeros((5, 5)), none, none, none, none)


@given(poses, poses, motions)
def test_moving_back_and_forth(one, other, alignment):
    back = InverseAlignment(one, other, alignment)
    points = np.random.default_rng(1).uniform(-500, 500, (20, 3))
    assert_allclose(back.undo(back.apply(points)), points, atol=1e-9)


def test_the_second_limb_is_moved_back_to_where_it_stood():
    """A turn by whole rays of the mesh carries its vertices over into one another."""
    axis = Pose(Rotation.from_rotvec([0.1, -0.2, 0.4]).as_matrix(), np.array([5.0, -7.0, 11.0]))
    own = replace(SECOND, axis_from_world=axis)
    alignment = motion(np.radians(10.0), np.array([4.0, -3.0]), np.array([0.01, -0.02]))
    here = limb_mesh(moved(alignment, own, FIRST)).vertices[:-2].reshape(-1, 144, 3)
    there = limb_mesh(own).vertices[:-2].reshape(-1, 144, 3)
    found = InverseAlignment(FIRST.axis_from_world, axis, alignment).apply(here)
    assert_allclose(np.roll(found, -4, axis=1), there, atol=1e-3)


def test_from_a_stand_of_the_second_visit_its_limb_is_seen_as_it_stood(models, tmp_path):
    """The second limb was measured turned and in another place: its own camera sees it where it was."""
    axis = Pose(Rotation.from_rotvec([0.0, 0.0, 0.2]).as_matrix(), np.array([15.0, -10.0, 0.0]))
    folder = model_folder(tmp_path / "turned", replace(SECOND, axis_from_world=axis))
    stored = read_model(folder)
    change = compare(FIRST, stored.limb, turn=0.0)
    first = with_cameras(models["first"].summary, None)
    found = find_overlays(change, first, stored.summary)
    stand, part = found.views[0]
    form = json.loads((folder / "model.json").read_text())["photos"][0]["camera"]
    seen = cover(limb_mesh(stored.limb), type(stored.summary.photos[0].camera)(**tupled(form)), part) >= 0.5
    mesh = replace(found.both.second, vertices=stand.moved(found.both.second.vertices))
    drawn = camera_view(mesh, found.both.colours, stand.camera, part).pixels[..., 3] >= 0.5
    # solved together with the first visit a silhouette moves by less than a millimetre, here about two pixels
    assert iou(drawn, seen) > least_iou(seen, 2.0)


def tupled(form):
    """JSON's lists as the tuples of a form."""
    return {
        name: tuple(tuple(v) if isinstance(v, list) else v for v in value)
        if isinstance(value, list)
        else value
        for name, value in form.items()
    }
