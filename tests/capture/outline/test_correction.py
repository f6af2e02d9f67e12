"""Corrections: the file there and back, damage refused, strokes and lines where they were drawn."""

import json
import re
import string
from dataclasses import replace

import cv2
import numpy as np
import pytest
from conftest import ROOT
from hypothesis import given, settings
from hypothesis import strategies as st
from strips import CAMERA, SIZE, looking_at, made_strip

from digitise.capture.outline.correction import (
    Correction,
    DrawnEdge,
    Stroke,
    correction_from_json,
    correction_to_json,
    drawn_offsets,
    paint,
    read_correction,
)
from digitise.capture.photo.rectified import STEP_MM, facing_plane
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Pose

SHA = "ab" * 32
GOOD = {
    "format": "outline-correction/1",
    "photo_sha256": SHA,
    "edges": [{"side": "left", "points": [[10, 20], [12.5, 400]]}],
    "polygon": [[0, 0], [100, 0], [100, 100]],
    "strokes": [{"kind": "limb", "width_px": 40, "points": [[5, 5], [6, 7]]}],
}

# --------------------------------------------------------------------------------------- the file

coordinates = st.floats(-20_000, 40_000)


def lines(least: int):
    return st.lists(st.tuples(coordinates, coordinates), min_size=least, max_size=6).map(
        lambda points: np.array(points, float)
    )


corrections = st.builds(
    Correction,
    st.one_of(st.none(), st.text("0123456789abcdef", min_size=64, max_size=64)),
    st.lists(st.builds(DrawnEdge, st.sampled_from(["left", "right"]), lines(2)), max_size=3).map(tuple),
    st.lists(
        st.builds(
            Stroke, st.sampled_from(["limb", "background"]), st.floats(0, 2000, exclude_min=True), lines(1)
        ),
        max_size=3,
    ).map(tuple),
    st.one_of(st.none(), lines(3)),
)


def plain(correction: Correction) -> tuple:
    """Everything in a correction as plain values, to compare."""
    polygon = correction.polygon
    return (
        correction.photo_sha256,
        [(e.side, e.points.tolist()) for e in correction.edges],
        [(s.kind, s.width_px, s.points.tolist()) for s in correction.strokes],
        None if polygon is None else polygon.tolist(),
    )


def same(a: Correction, b: Correction) -> bool:
    return plain(a) == plain(b)


@settings(max_examples=80, deadline=None)
@given(corrections)
def test_what_is_written_is_read_again(correction):
    text = correction_to_json(correction)
    assert json.loads(text)["format"] == "outline-correction/1"
    assert same(correction_from_json(text, "c.json"), correction)


def test_all_parts_but_the_format_are_optional():
    assert same(correction_from_json('{"format": "outline-correction/1"}', "c.json"), Correction(None))


def test_the_correction_in_the_docs_is_a_correction():
    text = (ROOT / "docs/formats.md").read_text(encoding="utf-8")
    section = text[text.index("## correction.json") :]
    example = re.search(r"```json\n(.*?)```", section, flags=re.DOTALL).group(1)
    correction = correction_from_json(example, "formats.md")
    assert (len(correction.edges), len(correction.strokes), len(correction.polygon)) == (1, 2, 4)


def changed(**parts) -> str:
    return json.dumps(GOOD | parts)


def edge(**parts) -> str:
    return changed(edges=[GOOD["edges"][0] | parts])


def stroke(**parts) -> str:
    return changed(strokes=[GOOD["strokes"][0] | parts])


DAMAGE = {
    "empty": "",
    "not JSON": "{",
    "binary": b"\xff\xfe\x00\x01",
    "a list": "[]",
    "a number": "3",
    "null": "null",
    "no format": json.dumps({k: v for k, v in GOOD.items() if k != "format"}),
    "another format": changed(format="outline-correction/2"),
    "an unknown part": changed(colour="red"),
    "a short digest": changed(photo_sha256="ab"),
    "a digest in capitals": changed(photo_sha256="AB" * 32),
    "edges no list": changed(edges={"left": []}),
    "an unknown side": edge(side="front"),
    "an edge of one point": edge(points=[[1, 2]]),
    "a point of three": edge(points=[[1, 2], [3, 4, 5]]),
    "a point of text": edge(points=[["a", "b"], [1, 2]]),
    "a point far out": edge(points=[[1e9, 0], [1, 2]]),
    "an infinite point": edge(points=[[1, 2], [3, 4]]).replace("3", "Infinity"),
    "a point that is no number": edge(points=[[1, 2], [3, 4]]).replace("3", "NaN"),
    "too many points": edge(points=[[0, 0]] * 5001),
    "too many edges": changed(edges=[GOOD["edges"][0]] * 201),
    "a polygon of two points": changed(polygon=[[0, 0], [1, 1]]),
    "an unknown brush": stroke(kind="skin"),
    "a brush of no width": stroke(width_px=0),
    "a brush of negative width": stroke(width_px=-3),
    "a brush wider than any": stroke(width_px=1e6),
    "a stroke of no points": stroke(points=[]),
    "too many strokes": changed(strokes=[GOOD["strokes"][0]] * 2001),
}


@pytest.mark.parametrize("name", DAMAGE)
def test_damage_is_refused_by_name(name):
    with pytest.raises(OutlineError) as caught:
        correction_from_json(DAMAGE[name], "visit-3.json")
    assert "visit-3.json" in str(caught.value)
    assert "damaged at" in caught.value.what
    assert caught.value.do


def test_the_place_of_the_damage_is_named():
    with pytest.raises(OutlineError, match=r"strokes\.0\.width_px"):
        correction_from_json(stroke(width_px=-1), "c.json")


def test_any_damage_is_an_outline_error_or_a_correction(rng):
    text = json.dumps(GOOD)
    for _ in range(1500):
        damaged = list(text)
        for _ in range(rng.integers(1, 4)):
            place = int(rng.integers(len(damaged)))
            change = rng.integers(3)
            if change == 0:
                del damaged[place]
            elif change == 1:
                damaged[place] = str(rng.choice(list(string.printable)))
            else:
                damaged = damaged[:place]
            if not damaged:
                break
        try:
            found = correction_from_json("".join(damaged), "c.json")
        except OutlineError:
            continue
        assert same(correction_from_json(correction_to_json(found), "c.json"), found)


def test_files(tmp_path):
    good = tmp_path / "good.json"
    good.write_text(json.dumps(GOOD), encoding="utf-8")
    assert read_correction(good).photo_sha256 == SHA
    large = tmp_path / "large.json"
    large.write_bytes(b" " * 2_000_001)
    for path, reason in [
        (tmp_path / "missing.json", "cannot be read"),
        (tmp_path, "cannot be read"),
        (large, "too large"),
    ]:
        with pytest.raises(OutlineError, match=reason) as caught:
            read_correction(path)
        assert path.name in str(caught.value)


# --------------------------------------------------------------------------------------- on the strip


@pytest.fixture
def strip(rng):
    return made_strip(rng).strip


def photo_line(strip, offsets, heights) -> np.ndarray:
    return strip.photo_from_plane(np.array(offsets, float), np.array(heights, float))


def test_a_stroke_covers_its_width_and_length(strip):
    width_mm = 30.0
    line = photo_line(strip, [0, 0], [300, 500])
    painted = paint(Correction(None, strokes=(Stroke("limb", width_mm / strip.pixel_mm(), line),)), strip)
    x, z = np.meshgrid(strip.offsets, strip.heights)
    # brushes are drawn in cells of 2 mm, with round ends
    assert np.all(painted[(np.abs(x) < width_mm / 2 - 2 * STEP_MM) & (z > 300) & (z < 500)] == 1)
    reach = width_mm / 2 + 2 * STEP_MM
    assert not painted[(np.abs(x) > reach) | (z < 300 - reach) | (z > 500 + reach)].any()


def test_later_strokes_win(strip):
    line = photo_line(strip, [-50, 50], [400, 400])
    first, second = Stroke("limb", 60.0, line), Stroke("background", 60.0, line)
    assert set(np.unique(paint(Correction(None, strokes=(first, second)), strip))) == {-1, 0}
    assert set(np.unique(paint(Correction(None, strokes=(second, first)), strip))) == {0, 1}


def test_a_dab_is_a_stroke_of_one_point(strip):
    dab = Stroke("background", 40.0, photo_line(strip, [20], [400]))
    painted = paint(Correction(None, strokes=(dab,)), strip)
    rows, columns = np.nonzero(painted)
    assert np.all(painted[rows, columns] == -1)
    assert abs(strip.offsets[columns].mean() - 20) < STEP_MM
    assert abs(strip.heights[rows].mean() - 400) < STEP_MM


@pytest.mark.parametrize(
    "points",
    [
        [[-20_000, -20_000], [40_000, 40_000]],
        [[-20_000, 0]],
        [[40_000, 40_000]],
        [[SIZE[0] * 3, SIZE[1] / 2], [SIZE[0] * 4, SIZE[1] / 2]],
    ],
)
@pytest.mark.parametrize("k", [(0.0, 0.0), (0.05, -0.08), (-0.2, 0.1)])
@pytest.mark.parametrize("eye", [(0, 1600, 450), (500, 1200, 1900)])
def test_strokes_and_lines_outside_the_picture_are_harmless(strip, points, k, eye):
    camera = Camera(replace(CAMERA.lens, k1=k[0], k2=k[1]), looking_at(eye, (0, 0, 450)), SIZE)
    strip = replace(strip, camera=camera, world_from_plane=facing_plane(camera, Pose.identity()))
    points = np.array(points, float)
    drawn = Correction(
        None,
        (DrawnEdge("left", np.vstack([points, points + 1])),),
        (Stroke("limb", 10.0, points), Stroke("background", 10.0, np.vstack([points, [[750, -20_000]]]))),
        np.vstack([points, points + np.array([0, 9]), points + np.array([9, 0])]),
    )
    assert paint(drawn, strip).shape == strip.pixels.shape[:2]
    assert drawn_offsets(drawn, strip, "left", strip.heights).shape == strip.heights.shape


def test_nothing_drawn_is_nowhere(strip):
    assert not paint(Correction(None), strip).any()
    assert np.isnan(drawn_offsets(Correction(None), strip, "left", strip.heights)).all()


def test_a_drawn_edge_is_crossed_between_its_ends_on_its_side(strip):
    drawn = Correction(None, (DrawnEdge("left", photo_line(strip, [-60, -40], [200, 500])),))
    heights = np.array([150.0, 199.0, 250.0, 350.0, 450.0, 501.0])
    found = drawn_offsets(drawn, strip, "left", heights)
    # a straight line of the plane stays straight in a picture without distortion
    np.testing.assert_allclose(found, [np.nan, np.nan, -60 + 20 / 6, -50, -60 + 100 / 6, np.nan], atol=1e-6)
    assert np.isnan(drawn_offsets(drawn, strip, "right", heights)).all()


def test_later_lines_replace_earlier_ones_where_they_are(strip):
    first = DrawnEdge("right", photo_line(strip, [50, 50], [200, 600]))
    second = DrawnEdge("right", photo_line(strip, [60, 60], [300, 400]))
    found = drawn_offsets(Correction(None, (first, second)), strip, "right", np.array([250.0, 350, 500]))
    np.testing.assert_allclose(found, [50, 60, 50], atol=1e-6)


def test_a_line_that_doubles_back_counts_by_its_outermost_crossing(strip):
    line = photo_line(strip, [50, 55, 45, 52], [200, 400, 300, 500])
    drawn = Correction(None, (DrawnEdge("right", line), DrawnEdge("left", line)))
    assert drawn_offsets(drawn, strip, "right", np.array([350.0]))[0] == pytest.approx(53.75, abs=1e-6)
    assert drawn_offsets(drawn, strip, "left", np.array([350.0]))[0] == pytest.approx(46.75, abs=1e-6)


def test_a_polygon_is_both_edges_and_lines_go_before_it(strip):
    polygon = photo_line(strip, [-60, -50, 50, 60], [200, 600, 600, 200])
    heights = np.array([150.0, 400.0, 650.0])
    drawn = Correction(None, polygon=polygon)
    np.testing.assert_allclose(drawn_offsets(drawn, strip, "left", heights), [np.nan, -55, np.nan], atol=1e-6)
    np.testing.assert_allclose(drawn_offsets(drawn, strip, "right", heights), [np.nan, 55, np.nan], atol=1e-6)
    line = DrawnEdge("right", photo_line(strip, [70, 70], [380, 420]))
    both = Correction(None, (line,), polygon=polygon)
    assert drawn_offsets(both, strip, "right", np.array([400.0]))[0] == pytest.approx(70, abs=1e-6)


def test_points_are_pixels_of_the_upright_photograph(strip):
    """A stroke drawn round a limb point in the picture paints the cell that shows this point."""
    point = np.array([30.0, 0.0, 400.0])
    pixel = CAMERA.project(point)
    painted = paint(Correction(None, strokes=(Stroke("limb", 1.0, pixel[None]),)), strip)
    column, row = np.rint(strip.cells(strip.plane_from_world(point))).astype(int)
    assert painted[row, column] == 1
    assert cv2.countNonZero((painted != 0).astype(np.uint8)) <= 9


def test_between_two_drawn_edges_is_limb(strip):
    left = DrawnEdge("left", photo_line(strip, [-40, -40], [300, 500]))
    right = DrawnEdge("right", photo_line(strip, [50, 50], [350, 550]))
    painted = paint(Correction(None, (left, right)), strip)
    x, z = np.meshgrid(strip.offsets, strip.heights)
    between = (x > -39) & (x < 49) & (z > 352) & (z < 498)
    assert np.all(painted[between] == 1)
    assert not painted[(x < -41) | (x > 51) | (z < 348) | (z > 502)].any()
    assert not paint(Correction(None, (left,)), strip).any()


def test_strokes_go_over_the_polygon(strip):
    polygon = photo_line(strip, [-60, -60, 60, 60], [200, 600, 600, 200])
    dab = Stroke("background", 30.0, photo_line(strip, [0], [400]))
    painted = paint(Correction(None, strokes=(dab,), polygon=polygon), strip)
    column, row = np.rint(strip.cells(np.array([0.0, 400.0]))).astype(int)
    assert painted[row, column] == -1
    assert painted[row, column + 20] == 1
