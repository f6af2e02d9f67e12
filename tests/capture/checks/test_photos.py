"""The photo check: each finding, from the measured cause."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.calibration.markers import find_markers
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.checks.photos import check_photos
from digitise.capture.photo.photograph import Photograph, read_photo
from digitise.capture.sheets.field import read_field
from digitise.errors import PhotoError
from digitise.geometry.camera import Camera

GOOD = {"sharp", "exposed", "markers", "rms", "distance", "in-frame", "angle"}


def codes(findings, photo=None):
    return {f.code for f in findings if photo is None or f.photo == photo}


def grey_photo(name, size, level=200) -> Photograph:
    pixels = np.full((size[1], size[0], 3), level, np.uint8)
    return Photograph(name, pixels, name, 26.0, "one phone")


def check_scene(scene, **changes):
    """Check a made scene; its pictures are plain, only geometry is real."""
    photos = [replace(grey_photo(p.name, p.size), **changes) for p in scene.photos]
    marks = [tuple(replace(d, blur_px=0.7) for d in p.detections) for p in scene.photos]
    return check_photos(photos, marks, calibrate(scene.photos, scene.field), scene.field)


@pytest.mark.slow
def test_good_photographs_get_notes_only(case):
    field = read_field(case.field)
    photos = [read_photo(path) for path in case.photos]
    marks = [find_markers(photo, field) for photo in photos]
    result = calibrate([MarkedPhoto.of(p, m) for p, m in zip(photos, marks, strict=True)], field)
    findings = check_photos(photos, marks, result, field)
    assert codes(findings) == GOOD
    assert {f.severity for f in findings} == {"note"}
    assert all(f.text and not f.do for f in findings)


def test_without_calibration_only_pictures_are_judged(tools):
    findings = check_photos([grey_photo("a", (900, 1200))], [()], None, tools["roll"])
    assert codes(findings) == {"blurred", "exposed"}


@pytest.mark.parametrize(
    ("blur", "code", "severity"),
    [(0.8, "sharp", "note"), (3.0, "blurred", "warning"), (7.0, "blurred", "refuse")],
)
def test_sharpness(blur, code, severity, scenes, tools):
    scene = scenes["walk"]()
    marks = tuple(replace(d, blur_px=blur) for d in scene.photos[0].detections)
    found = check_photos([grey_photo("a", tools["size"])], [marks], None, tools["roll"])[0]
    assert (found.code, found.severity) == (code, severity)
    assert f"{blur:.1f} px" in found.text


@pytest.mark.parametrize(
    ("level", "code", "severity"),
    [
        (255, "overexposed", "warning"),
        (200, "exposed", "note"),
        (60, "dark", "warning"),
        (10, "dark", "refuse"),
    ],
)
def test_exposure(level, code, severity, scenes, tools):
    marks = scenes["walk"]().photos[0].detections
    findings = check_photos([grey_photo("a", tools["size"], level)], [marks], None, tools["roll"])
    assert (findings[1].code, findings[1].severity) == (code, severity)


def test_blur_is_measured_on_rendered_markers(tools):
    """Camera shake of 3 px sd is found from the markers themselves."""
    corners = np.array([[60.0, 60], [240, 60], [240, 240], [60, 240]])
    picture = np.full((700, 700), 230, np.uint8)
    for n, (x, y) in enumerate([(0, 0), (350, 0), (0, 350)]):
        picture[y : y + 300, x : x + 300] = tools["paint"](n, corners, (300, 300), blur=3.0)
    photo = Photograph("shaken.jpg", cv2.cvtColor(picture, cv2.COLOR_GRAY2RGB), "x", 26.0, None)
    marks = find_markers(photo, tools["roll"])
    finding = check_photos([photo], [marks], None, tools["roll"])[0]
    assert finding.code == "blurred"
    # 3 px, the pixel's box 0.29 px and interpolation added in quadrature: 3.05 px
    assert np.median([m.blur_px for m in marks]) == pytest.approx(3.05, abs=0.3)


def test_markers_are_counted_by_board_against_those_in_sight(scenes):
    scene = scenes["walk"]().without(0, [3, 7, 14, 15])
    text = next(f.text for f in check_scene(scene) if f.code == "markers")
    total = [sum(d.id in b.ids for d in scenes["walk"]().photos[0].detections) for b in scene.field.boards]
    assert f"mat {total[0] - 2} of {total[0]}, backdrop-a {total[1] - 2} of {total[1]}" in text


def test_partly_hidden_mat(scenes):
    findings = check_scene(scenes["walk"]().without(1, range(3, 14)))
    assert "mat-hidden" in codes(findings, "photo-2.jpg")
    assert "mat-hidden" not in codes(findings, "photo-1.jpg")


def test_rejected_markers_are_named(scenes):
    scene = scenes["walk"]()
    marks = list(scene.photos[0].detections)
    marks[2], marks[9] = replace(marks[2], id=marks[9].id), replace(marks[9], id=marks[2].id)
    findings = check_scene(scene.with_photo(0, detections=tuple(marks)))
    found = next(f for f in findings if f.code == "markers-rejected")
    assert found.photo == "photo-1.jpg"
    assert "2 (" in found.text
    assert "9 (" in found.text


def circle(tools, degrees, distance=1600.0, height=430.0):
    """A scene with cameras at these angles about the vertical."""
    cameras = [
        Camera(
            tools["lens"],
            tools["look_at"]([distance * np.sin(a), distance * np.cos(a), height], [0, 0, 430]),
            tools["size"],
        )
        for a in np.radians(degrees)
    ]
    return tools["make_scene"](tools["roll"], cameras, [tools["roll_boards"]()] * len(cameras))


@pytest.mark.parametrize(
    ("degrees", "expected"),
    [
        ((0, 90), {"angle"}),
        ((0, 46), {"angle"}),
        ((0, 44), {"views-alike"}),
        ((-60, 80), {"views-alike"}),  # 140 degrees apart: nearly opposite
        ((0, 3), {"views-alike", "same-view"}),
        ((0, 2, 88), {"angle", "same-view"}),
        ((0,), {"one-view"}),
    ],
)
def test_angles_between_views(degrees, expected, tools):
    findings = check_scene(circle(tools, degrees))
    about = {"angle", "views-alike", "same-view", "one-view"}
    assert codes(findings) & about == expected


@pytest.mark.parametrize(("distance", "code"), [(700, "too-near"), (1600, "distance"), (3800, "too-far")])
def test_distance(distance, code, tools):
    scene = circle(tools, (5, 85), distance)
    assert code in codes(check_scene(scene))


def test_picture_that_cuts_the_place_of_the_limb_off_says_where(tools):
    eyes = ([0, 900, 300], [900, 0, 300])
    cameras = [Camera(tools["lens"], tools["look_at"](eye, [0, 0, 200]), tools["size"]) for eye in eyes]
    scene = tools["make_scene"](tools["roll"], cameras, [tools["roll_boards"]()] * 2)
    found = next(f for f in check_scene(scene) if f.code == "cut-off")
    top = float(found.text.split(" to ")[1].split()[0])
    inside = cameras[0].project(np.array([[60.0, 0, top], [-60, 0, top]]))
    outside = cameras[0].project(np.array([[60.0, 0, top + 10], [-60, 0, top + 10]]))
    assert np.all(inside[:, 1] >= -0.5)
    assert np.any(outside[:, 1] < -0.5)


def test_mat_alone_says_nothing_of_the_frame(scenes):
    assert not codes(check_scene(scenes["mat-alone"]())) & {"in-frame", "cut-off"}


def test_missing_focal_length_and_another_phone(tools):
    photos = [grey_photo("a", (900, 1200)), grey_photo("b", (900, 1200)), grey_photo("c", (900, 1200))]
    photos[1] = replace(photos[1], focal_35mm=None)
    photos[2] = replace(photos[2], lens_key="another")
    findings = check_photos(photos, [(), (), ()], None, tools["roll"])
    assert codes(findings, "b") - codes(findings, "a") == {"no-focal"}
    assert codes(findings, "c") - codes(findings, "a") == {"other-lens"}


def test_same_photograph_twice_is_refused(tools):
    photos = [grey_photo("a.jpg", (900, 1200)), replace(grey_photo("b.jpg", (900, 1200)), sha256="a.jpg")]
    with pytest.raises(PhotoError, match="given twice") as caught:
        check_photos(photos, [(), ()], None, tools["roll"])
    assert caught.value.where == "a.jpg and b.jpg"


def test_every_warning_says_what_to_do(scenes, tools):
    for scene in (circle(tools, (0, 3), 700), scenes["walk"]().without(1, range(3, 14))):
        for finding in check_scene(scene, focal_35mm=None):
            assert bool(finding.do) == (finding.severity != "note")
            assert finding.text.endswith(".")
