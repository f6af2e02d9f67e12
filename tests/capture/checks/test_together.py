"""Photographs of different visits and limbs: what gives them away, each from a made difference."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from PIL.ExifTags import IFD, Base
from scipy.spatial.transform import Rotation

from digitise.capture.calibration.calibrate import calibrate
from digitise.capture.checks.together import Clash, as_findings, check_together
from digitise.capture.photo.photograph import Photograph
from digitise.capture.photo.taken import minutes_between, time_taken
from digitise.geometry.rigid import Pose

NOON = datetime(2026, 3, 1, 12, 0)


def pictures(scene, minutes=0.0):
    size = scene.photos[0].size
    pixels = np.full((size[1], size[0], 3), 200, np.uint8)
    return [
        Photograph(p.name, pixels, p.name, 26.0, "one phone", taken=NOON + timedelta(minutes=n * minutes))
        for n, p in enumerate(scene.photos)
    ]


def moved(calibration, photo, boards, turn_deg, shift_mm):
    """The same calibration with some boards elsewhere in one photograph."""
    step = Pose(Rotation.from_euler("z", turn_deg, degrees=True).as_matrix(), np.array([shift_mm, 0.0, 0.0]))
    placed = list(calibration.boards)
    placed[photo] = {name: step @ p if name in boards else p for name, p in placed[photo].items()}
    return replace(calibration, boards=tuple(placed))


@pytest.fixture
def walk(scenes):
    scene = scenes["walk"]()
    return scene, calibrate(scene.photos, scene.field)


def backdrops(field):
    return [board.name for board in field.boards if board.role == "backdrop"]


def test_one_visit_passes(walk):
    scene, calibration = walk
    assert check_together(pictures(scene, 1.0), calibration, scene.field) == ()


def test_a_limb_that_turns_with_its_mat_passes(scenes):
    scene = scenes["turn"]()
    assert check_together(pictures(scene, 1.0), calibrate(scene.photos, scene.field), scene.field) == ()


def test_sheets_put_up_anew_refuse(walk):
    scene, calibration = walk
    first, *rest = backdrops(scene.field)
    assert rest, "two backdrops are in the scene"
    other = moved(moved(calibration, 1, [first], 3.0, 40.0), 1, rest, -2.0, 25.0)
    (clash,) = check_together(pictures(scene), other, scene.field)
    assert (clash.code, clash.grave) == ("sheets-moved", True)
    assert first in clash.text


def test_one_sheet_bumped_warns(walk):
    scene, calibration = walk
    name = backdrops(scene.field)[0]
    (clash,) = check_together(pictures(scene), moved(calibration, 1, [name], 1.0, 20.0), scene.field)
    assert (clash.code, clash.grave) == ("sheets-moved", False)


def test_times_apart_refuse_unless_the_set_up_was_not_touched(walk):
    scene, calibration = walk
    (clash,) = check_together(pictures(scene, 24 * 60.0), calibration, scene.field)
    assert (clash.code, clash.grave) == ("visit-times", False)
    # nothing seen in both photographs: no word against the clock
    apart = [dict(list(placed.items())[:1]) for placed in calibration.boards]
    (clash,) = check_together(pictures(scene, 31.0), replace(calibration, boards=tuple(apart)), scene.field)
    assert (clash.code, clash.grave) == ("visit-times", True)
    assert "31 minutes" in clash.text
    assert check_together(pictures(scene, 29.0), calibration, scene.field) == ()


def times_between(scene, calibration, which, shows):
    """How grave clocks a day apart are, by pair, where photograph n is the walk's ``which[n]`` and shows."""
    photos = pictures(scene)
    placed = [
        {name: pose for name, pose in calibration.boards[n].items() if name in seen}
        for n, seen in zip(which, shows, strict=True)
    ]
    made = replace(
        calibration,
        boards=tuple(placed),
        cameras=tuple(calibration.cameras[n] for n in which),
        lens_of=(0,) * len(which),
    )
    dated = [replace(photos[n], taken=NOON + timedelta(days=day)) for day, n in enumerate(which)]
    found = check_together(dated, made, scene.field)
    assert {clash.code for clash in found} == {"visit-times"}
    return {(clash.first, clash.second): clash.grave for clash in found}


def test_one_clock_beside_photographs_that_belong_together_is_held_against_the_limb(walk):
    scene, calibration = walk
    mats = [board.name for board in scene.field.boards if board.role == "mat"]
    whole, alone = [*mats, *backdrops(scene.field)], mats
    # a panel carried behind the limb for a third photograph: the first two tell the limb without it
    found = times_between(scene, calibration, (0, 1, 1), (whole, whole, alone))
    assert found == {(0, 1): False, (0, 2): False, (1, 2): False}
    # two photographs, or three of which no two belong together: nothing tells which is of the visit
    assert times_between(scene, calibration, (0, 1), (alone, alone)) == {(0, 1): True}
    found = times_between(scene, calibration, (0, 1, 1), (alone, alone, alone))
    assert set(found.values()) == {True}


def test_findings_name_the_odd_photograph_and_two_kinds_refuse():
    names = ["a.jpg", "b.jpg", "c.jpg"]
    grave = [Clash(0, 2, "sheets-moved", True, "x"), Clash(1, 2, "sheets-moved", True, "y")]
    found = as_findings(grave, names)
    assert [(f.photo, f.severity) for f in found] == [("c.jpg", "refuse")] * 2
    assert "Photographs 1 and 3 do not belong together: x." in found[0].text
    assert {f.severity for f in as_findings(grave, names, same_visit=True)} == {"warning"}
    weak = [Clash(0, 1, "hem", False, "x"), Clash(0, 1, "skin-colour", False, "y")]
    assert [f.severity for f in as_findings(weak, names)] == ["refuse"]
    assert [f.severity for f in as_findings(weak[:1], names)] == ["warning"]
    assert as_findings([Clash(0, 1, "other-lens", False, "x")], names) == ()


def jpeg(**tags):
    exif = Image.Exif()
    inner = exif.get_ifd(IFD.Exif)
    for name, value in tags.items():
        inner[getattr(Base, name)] = value
    file = BytesIO()
    Image.new("RGB", (8, 8)).save(file, "JPEG", exif=exif.tobytes())
    return file.getvalue()


@pytest.mark.parametrize(
    ("tags", "found"),
    [
        ({}, None),
        ({"DateTimeOriginal": "2026:03:01 12:00:00"}, NOON),
        (
            {"DateTimeOriginal": "2026:03:01 12:00:00", "OffsetTimeOriginal": "+02:00"},
            datetime(2026, 3, 1, 10, 0, tzinfo=UTC),
        ),
        ({"DateTimeOriginal": "yesterday"}, None),
        ({"DateTimeOriginal": "2026:03:01 12:00:00", "OffsetTimeOriginal": "home"}, NOON),
    ],
)
def test_time_is_read(tags, found):
    assert time_taken(jpeg(**tags)) == found


def test_no_picture_has_no_time():
    assert time_taken(b"no picture") is None


def test_minutes_between():
    assert minutes_between(NOON, NOON + timedelta(hours=1)) == 60.0
    assert minutes_between(NOON, None) is None
    assert minutes_between(NOON.replace(tzinfo=UTC), NOON) == 0.0
