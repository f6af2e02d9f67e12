"""The outline pictures: the edge is drawn where it was found, and the photograph shows around it."""

import dataclasses
import io

import cv2
import numpy as np
import pytest
from conftest import CASES
from numpy.testing import assert_allclose
from output_support import BACKDROP, SKIN
from PIL import Image, ImageDraw

from digitise.geometry.rigid import Pose
from digitise.output.model import pictures
from digitise.output.model.pictures import SURE, UNSURE, draw_outline, front_arc, write_pictures
from digitise.words import shown
from ui.lengths import CM, INCH


@pytest.fixture(scope="module")
def drawn(measured):
    camera = measured.calibration.cameras[0]
    return draw_outline(measured.photos[0], measured.outlines[0], camera, measured.fit.limb)


def near(pixels, colour, tolerance=60):
    return np.abs(pixels.astype(int) - colour).max(axis=-1) <= tolerance


def distance_to(mask):
    """Distance of every pixel to the nearest of a mask, px."""
    return cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5)


def at(table, points):
    cells = np.round(points).astype(int)
    return table[cells[:, 1], cells[:, 0]]


def between_rings(measured, edge):
    """Points of an edge away from the rings' ends, where white lines cross the edge."""
    heights = measured.outlines[0].heights[0]
    limb = measured.fit.limb
    rings = np.array([limb.from_mm, 200.0, 300.0, limb.to_mm])
    return np.abs(heights[:, None] - rings).min(axis=1) > 8


def test_sure_edges_are_drawn_where_they_are(drawn, measured):
    blue = distance_to(near(drawn.pixels, SURE))
    for edge in measured.outlines[0].edges:
        # an unsure run is drawn up to its neighbours
        doubt = np.convolve(~edge.sure, np.ones(5), "same") > 0
        sure = ~doubt & between_rings(measured, edge)
        points = drawn.frame.picture_from_photo(edge.points[sure])
        assert at(blue, points).max() <= 1.5


def test_unsure_edges_are_dashed_in_the_other_colour(drawn, measured):
    yellow, blue = (distance_to(near(drawn.pixels, colour)) for colour in (UNSURE, SURE))
    edge = measured.outlines[0].edges[0]
    # dashes of 14 px leave gaps of 9 px; the run is drawn up to its sure neighbours
    inner = np.flatnonzero(~edge.sure)[3:-3]
    points = drawn.frame.picture_from_photo(edge.points[inner])
    assert at(yellow, points).max() <= 8
    assert (at(yellow, points) <= 1.5).mean() > 0.5
    assert at(blue, points).min() > 1.5


def test_only_the_edge_is_in_the_edge_colours(drawn, measured):
    height = round(drawn.frame.size[1] * drawn.frame.scale)
    coloured = near(drawn.pixels, SURE, 30) | near(drawn.pixels, UNSURE, 30)
    rows, columns = np.nonzero(coloured[:height])
    points = np.concatenate([e.points for e in measured.outlines[0].edges])
    points = drawn.frame.picture_from_photo(points)
    for row, column in zip(rows[::50], columns[::50], strict=True):
        assert np.hypot(*(points - (column, row)).T).min() < 5


def test_the_photograph_shows_on_both_sides_of_the_edge(drawn, measured):
    for side, edge in zip((-1, 1), measured.outlines[0].edges, strict=True):
        keep = between_rings(measured, edge) & (np.arange(len(edge.sure)) > 20)
        keep &= np.arange(len(edge.sure)) < 140
        points = drawn.frame.picture_from_photo(edge.points[keep])
        step = np.array([12.0 * side, 0.0])
        inside = at(near(drawn.pixels, SKIN, 10), points - step)
        assert inside.all()
        if side < 0:  # labels stand on the other side
            assert at(near(drawn.pixels, BACKDROP, 10), points + step).all()


def test_parts_that_are_not_measured_are_darker(drawn, measured):
    camera, limb = measured.calibration.cameras[0], measured.fit.limb
    for z, beyond in ((limb.from_mm, 12.0), (limb.to_mm, -12.0)):
        arc = drawn.frame.picture_from_photo(front_arc(limb, camera, z))
        step = np.array([0.0, beyond])
        middle = arc[len(arc) // 2][None]
        inside, outside = (at(drawn.pixels, middle + way * step) for way in (-1, 1))
        assert outside.sum() < 0.7 * inside.sum()


def test_frame_maps_pixels_exactly(measured, monkeypatch):
    # a white square beside the limb lies where the mapping says; OpenCV resamples in steps of 1/32 pixel
    monkeypatch.setattr(pictures, "LONG_SIDE_PX", 500)
    left = measured.outlines[0].edges[0].points[85]
    row, column = round(left[1]), round(left[0]) - 100
    pixels = np.zeros_like(measured.photos[0].pixels)
    pixels[row : row + 31, column : column + 31] = 255
    photo = dataclasses.replace(measured.photos[0], pixels=pixels)
    picture = draw_outline(photo, measured.outlines[0], measured.calibration.cameras[0], measured.fit.limb)
    assert picture.frame.scale < 0.7
    x, y = picture.frame.picture_from_photo(np.array([column + 15.0, row + 15.0]))
    rows, columns = (slice(round(at) - 20, round(at) + 21) for at in (y, x))
    patch = picture.pixels[rows, columns].astype(float).sum(axis=2)
    found = [
        np.average(np.arange(s.start, s.stop), weights=patch.sum(axis=a))
        for s, a in ((columns, 0), (rows, 1))
    ]
    assert_allclose(found, [x, y], atol=0.1)


def test_ring_ends_are_the_rim(measured):
    # the rim of a slightly tapering limb lies within a few hundredths of a radius of where its section ends
    camera, limb = measured.calibration.cameras[1], measured.fit.limb
    arc = front_arc(limb, camera, 250.0)
    left, right = (edge.points[85] for edge in measured.outlines[1].edges)  # at 250 mm
    assert_allclose(sorted([arc[0, 0], arc[-1, 0]]), [left[0], right[0]], atol=3)


def test_files_hold_no_metadata(measured, tmp_path):
    write_pictures(tmp_path, measured)
    assert sorted(item.name for item in tmp_path.iterdir()) == ["outline-1.jpg", "outline-2.jpg"]
    for path in tmp_path.iterdir():
        image = Image.open(path)
        assert not image.getexif()
        assert set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
        assert max(image.size) < 1850  # 1600 px and the legend


def test_a_lying_limb_is_darkened_beyond_its_ends(measured):
    # the camera turned a quarter about its axis shows the limb along the picture's rows
    camera, photo, outline = measured.calibration.cameras[0], measured.photos[0], measured.outlines[0]
    turn = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    pose = camera.camera_from_world
    lens = dataclasses.replace(camera.lens, centre_px=camera.lens.centre_px[::-1])
    lying = dataclasses.replace(
        camera, lens=lens, camera_from_world=Pose(turn, np.zeros(3)) @ pose, size=camera.size[::-1]
    )
    edges = tuple(
        dataclasses.replace(
            edge,
            points=np.stack([2 * lens.centre_px[0] - edge.points[:, 1], edge.points[:, 0]], axis=1),
        )
        for edge in outline.edges
    )
    pixels = np.full((*lying.size[::-1], 3), BACKDROP, np.uint8)
    picture = draw_outline(
        dataclasses.replace(photo, pixels=pixels),
        dataclasses.replace(outline, edges=edges),
        lying,
        measured.fit.limb,
    )
    for z, beyond in ((80.0, True), (150.0, False), (360.0, False), (419.0, True)):
        arc = picture.frame.picture_from_photo(front_arc(measured.fit.limb, lying, max(z, 85.0)))
        there = at(picture.pixels, arc[len(arc) // 2][None])[0]
        assert (there.sum() < 0.7 * sum(BACKDROP)) == beyond, z


def test_a_strange_file_name_is_drawn(measured):
    photo = dataclasses.replace(measured.photos[0], name="two\nlines\udcff" * 40 + ".jpg")
    draw_outline(photo, measured.outlines[0], measured.calibration.cameras[0], measured.fit.limb)


@pytest.mark.parametrize(
    ("read", "written"),
    [
        (shown, ["from 100 mm", "200", "300", "to 400 mm"]),
        (CM.sentence, ["from 10.0 cm", "20.0", "30.0", "to 40.0 cm"]),
        (INCH.sentence, ["from 3.9 in", "7.9", "11.8", "to 15.7 in"]),
    ],
)
def test_heights_are_written_as_they_are_read(measured, monkeypatch, read, written):
    found, write = [], ImageDraw.ImageDraw.text

    def noted(pen, at, words, **how):
        found.append(words)
        write(pen, at, words, **how)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", noted)
    camera = measured.calibration.cameras[0]
    draw_outline(measured.photos[0], measured.outlines[0], camera, measured.fit.limb, read)
    *legend, _, _, _, _ = found
    assert found[len(legend) :] == written
    assert not any(" mm" in words for words in legend)


@pytest.mark.slow
def test_pictures_of_photographs(tmp_path):
    """The whole way on a photo-real case: the drawn edge against the true silhouette."""
    from conftest import Case

    from digitise.capture.sheets.field import read_field
    from digitise.output.model.measured import Measured
    from digitise.tape.table import read_tape
    from digitise.workflow.measure import measure_limb

    case = Case("turn-dark", CASES["turn-dark"] / "turn-dark")
    measured = measure_limb(case.photos, read_field(case.field), read_tape(case.tape))
    assert isinstance(measured, Measured)
    write_pictures(tmp_path, measured)
    for number, (photo, outline, camera) in enumerate(
        zip(measured.photos, measured.outlines, measured.calibration.cameras, strict=True), start=1
    ):
        picture = draw_outline(photo, outline, camera, measured.fit.limb)
        stored = np.asarray(Image.open(io.BytesIO((tmp_path / f"outline-{number}.jpg").read_bytes())))
        assert stored.shape == picture.pixels.shape
        mask = case.mask(number).astype(np.uint8)
        rim = cv2.morphologyEx(mask, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8)) > 0
        distance = distance_to(rim)
        rows, columns = np.nonzero(near(picture.pixels, SURE, 20))
        inside = rows < round(picture.frame.size[1] * picture.frame.scale)
        points = np.stack([columns[inside], rows[inside]], axis=1).astype(float)
        in_photo = (points + 0.5) / picture.frame.scale - 0.5 + picture.frame.corner
        # the line is 2 px wide in the picture, so up to 3 px of the photograph to either side
        assert np.median(at(distance, in_photo)) < 4
