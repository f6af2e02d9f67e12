"""Figures: what they show is what the limb says, in one style, whole in PNG and SVG, told apart in grey."""

import io
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from defusedxml import ElementTree
from matplotlib.colors import to_rgb
from numpy.testing import assert_allclose
from PIL import Image
from solid_limbs import cone_radius, cone_with, limb

from digitise.care.change.compare import compare
from digitise.care.course.course import course
from digitise.care.course.visits import VisitVolume
from digitise.geometry.mesh import Mesh
from digitise.output.figures import course as figures_course
from digitise.output.figures import limb as figures
from digitise.output.figures import render
from digitise.output.figures import style as figures_style
from digitise.output.figures import views as figures_views
from digitise.output.model.form import TapeCheckForm
from digitise.shape.limb import Estimate, girth
from digitise.shape.mesh import limb_mesh, stack_faces

LIMB = limb(cone_with((6.0, 0.5, 300.0)))
EARLIER = limb(cone_with((14.0, 0.5, 300.0)))
NAMED = [figures.Named("second", LIMB), figures.Named("first", EARLIER)]


@pytest.fixture(scope="module")
def change():
    return compare(EARLIER, LIMB, turn=0.0)


@pytest.fixture(scope="module")
def visits():
    start = datetime(2026, 3, 2, 9, tzinfo=UTC)
    return course(
        VisitVolume(
            start + timedelta(days=4 * n), Estimate(9000.0 - 50 * n, 60.0), 100, 500, Estimate(8000.0, 60.0)
        )
        for n in range(5)
    )


def row(height, value, verdict):
    return TapeCheckForm(
        height_mm=height, tape_mm=value, photo_mm=None, photo_mm_95=None, difference_mm=None, verdict=verdict
    )


def drawn(draw):
    with figures_style.styled():
        return draw()


def test_girth_profile_shows_the_limbs_girths_their_band_and_the_tape():
    rows = [row(200.0, 321.0, "agrees"), row(300.0, 365.0, "suspect")]
    (axes,) = drawn(lambda: figures.girth_profile(NAMED, rows)).axes
    lines = {line.get_label(): line.get_xydata() for line in axes.lines}
    x, z = lines["second, band 95 %"].T
    assert_allclose(x, girth(LIMB, z).mean)
    assert lines["tape: agrees"].tolist() == [[321.0, 200.0]]
    assert lines["tape: suspect"].tolist() == [[365.0, 300.0]]
    low, high = girth(LIMB, z).interval_95
    band = axes.collections[0].get_paths()[0].vertices
    assert_allclose([band[:, 0].min(), band[:, 0].max()], [low.min(), high.max()])


def test_two_limbs_differ_in_line_style_and_verdicts_in_marker():
    (axes,) = drawn(lambda: figures.girth_profile(NAMED)).axes
    assert len({line.get_linestyle() for line in axes.lines}) == 2
    assert len({marker for marker, _ in figures_style.TAPE.values()}) == 4


def test_sections_are_true_to_one_scale():
    figure = drawn(lambda: figures.section_overlay([figures.Named("a", LIMB)], [120.0, 480.0]))
    widths = [np.ptp(axes.lines[0].get_xdata()) for axes in figure.axes]
    # far from the heap the section is a circle
    assert_allclose(widths, 2 * cone_radius([120.0, 480.0]), rtol=2e-3)
    assert len({axes.get_xlim() for axes in figure.axes}) == 1


def test_change_chart_is_cut_open_at_the_back_and_greys_what_is_not_clear(change):
    figure = drawn(lambda: figures.change_chart(change))
    axes = figure.axes[0]
    words = [label.get_text() for label in axes.get_xticklabels()]
    # of a left leg seen from outside: turning from its back over the inner side to the front
    assert words == ["back", "inner", "front", "outer", "back"]
    assert "no clear change" in [text.get_text() for text in figure.legends[0].get_texts()]
    assert figures.change_reach(change) >= np.abs(change.chart.change_mm.mean[change.chart.clear]).max()
    assert "mm" in figures.CHANGE_LABEL


def test_cutting_open_keeps_directions_with_their_values():
    theta = np.radians(np.arange(0.0, 360.0, 5.0))
    opened, values = figures._cut_open(theta, np.cos(theta - 0.3)[None])
    assert_allclose(values[0], np.cos(opened - 0.3), atol=1e-12)
    assert_allclose(np.degrees(opened[[0, -1]]), [-90, 270])


def test_course_shows_every_visit_with_its_interval(visits):
    volume, over = drawn(lambda: figures_course.course_figure(visits)).axes
    assert_allclose(volume.lines[0].get_ydata(), [9000, 8950, 8900, 8850, 8800])
    band = volume.collections[0].get_paths()[0].vertices[:, 1]
    assert_allclose([band.min(), band.max()], [8800 - 1.96 * 60, 9000 + 1.96 * 60], rtol=1e-5)
    assert_allclose(over.lines[0].get_ydata(), [1000, 950, 900, 850, 800])


@pytest.mark.parametrize(
    "draw",
    [
        lambda _change, _visits: figures.girth_profile(NAMED),
        lambda _change, _visits: figures.section_overlay(NAMED, [200.0]),
        lambda change, _visits: figures.change_chart(change),
        lambda _change, _visits: figures_views.limb_views(LIMB, (60, 40)),
        lambda change, _visits: figures_views.change_views(change, (60, 40)),
        lambda _change, visits: figures_course.course_figure(visits),
    ],
    ids=["girth", "sections", "change", "views", "change views", "course"],
)
def test_figures_become_png_and_svg(draw, change, visits):
    picture = Image.open(io.BytesIO(figures_style.png(lambda: draw(change, visits))))
    assert picture.width > 400
    first, second = (figures_style.svg(lambda: draw(change, visits)) for _ in range(2))
    assert first == second
    texts = ElementTree.fromstring(first).iter("{http://www.w3.org/2000/svg}text")
    assert any("mm" in "".join(text.itertext()) or "mL" in "".join(text.itertext()) for text in texts)


def test_change_scale_is_even_in_lightness_on_both_sides():
    grey = figures_style.CHANGE(np.linspace(0, 1, 101))[:, :3] @ [0.2126, 0.7152, 0.0722]
    assert np.all(np.diff(grey[:51]) > 0)
    assert np.all(np.diff(grey[50:]) < 0)


# ---- renderer ------------------------------------------------------------------------------------------


def cylinder(radius=50.0, height=200.0):
    phi = np.radians(np.arange(0.0, 360.0, 4.0))
    ring = radius * np.stack([np.cos(phi), np.sin(phi)], 1)
    z = np.linspace(0.0, height, 21)
    rings = np.concatenate([np.column_stack([ring, np.full(len(ring), level)]) for level in z])
    points = np.concatenate([rings, [[0, 0, 0], [0, 0, height]]])
    return Mesh(points, stack_faces(len(z), len(ring)))


def test_a_cylinder_is_seen_as_its_box():
    mesh = cylinder()
    picture = render.side_view(mesh, np.ones_like(mesh.vertices), 0.3, 1.0)
    area = picture.pixels[..., 3].sum()
    # its corners at 4 degrees and half a sample at each edge: 0.1 % + 2 * 0.5 / 100 + 2 * 0.5 / 200
    assert_allclose(area, 100 * 200, rtol=0.016)
    left, right, bottom, top = picture.extent
    assert left < -49.9
    assert right > 49.9
    assert bottom < 0
    assert top > 200
    assert picture.pixels.shape[:2] == (round(top - bottom), round(right - left))


@pytest.mark.parametrize("theta", [0.0, 1.0, 2.5, 4.0])
def test_only_the_side_towards_the_eye_is_seen(theta):
    mesh = cylinder()
    towards = mesh.vertices[:, :2] @ [np.cos(theta), np.sin(theta)]
    colours = np.where(towards[:, None] >= -1e-6, [1.0, 0.0, 0.0], [0.0, 0.0, 1.0])
    picture = render.side_view(mesh, colours, theta, 1.0).pixels
    middle = picture[:, 5:-5]
    assert middle[..., 2].max() == 0.0
    assert np.all(middle[5:-5, :, 0] > 0.3)


def test_right_in_the_picture_is_right_of_the_eye():
    """From the front (+y) the person's left, -x, is on the viewer's right."""
    mesh = cylinder()
    colours = np.where(mesh.vertices[:, :1] < 0, [1.0, 1.0, 1.0], [0.0, 0.0, 0.0])
    picture = render.side_view(mesh, colours, np.pi / 2, 1.0).pixels
    half = picture.shape[1] // 2
    assert picture[:, half + 10 : -10, 0].mean() > 5 * picture[:, 10 : half - 10, 0].mean()


def test_normals_of_a_cylinder_point_outward():
    mesh = cylinder()
    side = slice(90, 90 * 20)
    outward = mesh.vertices[side] * (1, 1, 0) / 50.0
    assert_allclose(render.vertex_normals(mesh)[side], outward, atol=1e-2)


def test_change_is_coloured_where_the_chart_has_it(change):
    mesh = limb_mesh(change.second)
    colours = figures_views.change_colours(change, mesh)
    theta = np.arctan2(mesh.vertices[:, 1], mesh.vertices[:, 0])
    on_heap = (np.abs(theta - 0.5) < 0.2) & (np.abs(mesh.vertices[:, 2] - 300) < 15)
    assert np.all(colours[on_heap, 2] > colours[on_heap, 0] + 0.1)  # blue: it shrank by 8 mm
    far = (np.abs(theta) > 2.6) & (np.abs(mesh.vertices[:, 2] - 450) < 15)
    assert np.all(colours[far] == colours[far][0])


def test_nothing_is_coloured_beyond_the_common_heights():
    first, second = limb(lambda theta, z: cone_with()(theta, z) + 8.0, high=400.0), limb(cone_with())
    change = compare(first, second, turn=0.0)
    mesh = limb_mesh(change.second)
    colours = figures_views.change_colours(change, mesh)
    grey = np.all(np.isclose(colours, to_rgb(figures_style.NO_CLEAR_CHANGE)), axis=1)
    ring = mesh.vertices[:-2, 2]
    assert not grey[:-2][ring < 399].any()
    assert grey[:-2][ring > 401].all()


@pytest.mark.parametrize("side", ["left", "right"])
def test_views_go_round_from_the_front_over_the_outer_side(side):
    one = limb(cone_with((6.0, 0.5, 300.0)), side=side)
    figure = drawn(lambda: figures_views.limb_views(one, (60, 40)))
    assert [axes.get_title() for axes in figure.axes] == ["front", "outer", "back", "inner"]
