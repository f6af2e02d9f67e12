"""Photo-real arms that lie on supports, measured from files alone against their truth; what is refused."""

import json
from dataclasses import replace

import cv2
import numpy as np
import pytest
from conftest import ROOT
from lying_accuracy import axis_errors, measured_sample, true_sample
from lying_drawn import changed, like_its_sheet, round_it

from digitise.capture.sheets.field import read_field
from digitise.errors import DigitiseError, OutlineError, PhotoError, ShapeError
from digitise.output.model.files import model_text
from digitise.samples import sample_visits
from digitise.shape.limb import Z95, girth, volume
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb
from digitise.workflow.posture.lying import Landmark, Lying

pytestmark = pytest.mark.slow

VISITS = sample_visits("arm")
DARK = ROOT / "tests/data/lying/dark"
# the bars for a lying arm: volume, girth, axis across and along, degrees
VOLUME_BAR, GIRTH_BAR_MM, AXIS_BAR_DEG, AXIS_BAR_MM, LANDMARK_BAR_MM = 0.02, 3.5, 1.5, 4.0, 3.0


@pytest.mark.parametrize("visit", VISITS, ids=lambda visit: visit.name)
def test_an_arm_is_true_between_places_on_it(visit):
    measured, truth = measured_sample(visit), true_sample(visit)
    limb, whole = measured.fit.limb, truth["volumes"][-1]
    found = volume(limb, whole["from"], whole["to"])
    assert abs(found.mean / whole["ml"] - 1) < VOLUME_BAR
    assert abs(found.mean - whole["ml"]) < Z95 * found.sd
    rows = [row for row in truth["sections"] if whole["from"] <= row["height"] <= whole["to"]]
    off = girth(limb, np.array([row["height"] for row in rows])).mean - [
        row["hull_perimeter"] for row in rows
    ]
    assert np.sqrt(np.mean(off**2)) < GIRTH_BAR_MM
    turn, aside, along = axis_errors(limb, truth, (whole["from"] + whole["to"]) / 2)
    assert turn < AXIS_BAR_DEG
    assert aside < AXIS_BAR_MM
    assert abs(along) < LANDMARK_BAR_MM
    summary = model_text(measured).summary
    assert summary.lying == "palm-down"
    assert "supported" in [warning.code for warning in summary.warnings]


def dark_arm(**options):
    """Measure the arm with very dark skin in hard light from one side; the measurement and its truth."""
    told, truth = (json.loads((DARK / name).read_text()) for name in ("lying.json", "truth.json"))
    number, x, y = told["landmark"]
    whole = truth["volumes"][-1]
    measured = measure_limb(
        sorted(DARK.glob("photo-*.jpg")),
        read_field(DARK / "field.json"),
        read_tape(DARK / "tape.csv"),
        limb="arm",
        side="right",
        lying=Lying(told["lying"], Landmark(number - 1, (x, y))),
        from_mm=whole["from"],
        to_mm=whole["to"],
        **options,
    )
    return measured, truth


def test_a_very_dark_arm_is_told_from_its_own_hard_shadow():
    measured, truth = dark_arm()
    limb, whole = measured.fit.limb, truth["volumes"][-1]
    found = volume(limb, whole["from"], whole["to"])
    # 1.2 L, a short arm: a pixel of half a millimetre all round is 2.5 % of it
    assert abs(found.mean / whole["ml"] - 1) < 0.025
    assert abs(found.mean - whole["ml"]) < Z95 * found.sd
    # the lower edge rests on supports for half of this short arm
    for outline in measured.outlines:
        assert max(np.mean(edge.seen) for edge in outline.edges) > 0.7


@pytest.fixture(scope="module")
def found():
    return measured_sample(VISITS[0])


def test_an_arm_that_is_not_found_is_measured_from_lines_drawn_round_it(found, tmp_path):
    """A hand is off by a pixel of half a millimetre, and cuts curves short: 2 % as for one that is found."""
    hidden = like_its_sheet(VISITS[0], found, tmp_path)
    with pytest.raises(DigitiseError):
        measured_sample(hidden)
    drawn = {path.name: round_it(found, n) for n, path in enumerate(hidden.photos)}
    measured = measured_sample(hidden, corrections=drawn)
    truth = true_sample(VISITS[0])["volumes"][-1]
    volumes = volume(measured.fit.limb, truth["from"], truth["to"])
    assert abs(volumes.mean / truth["ml"] - 1) < VOLUME_BAR
    assert abs(volumes.mean - truth["ml"]) < Z95 * volumes.sd
    assert all(outline.by_hand.share > 0.5 for outline in measured.outlines)


def test_one_photograph_of_an_arm_is_mended_by_a_line_round_it(found):
    name = VISITS[0].photos[1].name
    measured = measured_sample(VISITS[0], corrections={name: round_it(found, 1)})
    truth = true_sample(VISITS[0])["volumes"][-1]
    assert abs(volume(measured.fit.limb, truth["from"], truth["to"]).mean / truth["ml"] - 1) < VOLUME_BAR
    assert [outline.by_hand is not None for outline in measured.outlines] == [False, True, False]


def without_mat(number, pixels):
    """Hide everything right of the hand in the photograph from above."""
    if number == 1:
        pixels[:, int(0.62 * pixels.shape[1]) :] = 90
    return pixels


def test_a_photograph_from_above_without_the_mat_is_refused(tmp_path):
    with pytest.raises(PhotoError, match="mat"):
        measured_sample(changed(VISITS[0], tmp_path, without_mat))


def test_two_photographs_are_refused():
    with pytest.raises(PhotoError, match="needs 3 photographs"):
        measured_sample(replace(VISITS[0], photos=VISITS[0].photos[:2]))


def test_supports_of_the_skin_s_colour_do_not_become_limb(tmp_path):
    """Blue supports are dyed like skin: what is measured holds the truth, or is refused."""

    def dyed(_number, pixels):
        wide = pixels.astype(int)
        blue = ((wide[..., 2] > wide[..., 0] + 8) & (wide[..., 2] > wide[..., 1])).astype(np.uint8)
        mask = cv2.dilate(blue, np.ones((5, 5), np.uint8)) > 0
        light = wide.mean(axis=2) / max(wide[mask].mean(), 1.0)
        pixels[mask] = np.clip(light[mask][:, None] * [190, 140, 118], 0, 255)
        return pixels

    truth = true_sample(VISITS[0])["volumes"][-1]
    try:
        limb = measured_sample(changed(VISITS[0], tmp_path, dyed)).fit.limb
    except DigitiseError:
        return
    found = volume(limb, truth["from"], truth["to"])
    assert abs(found.mean - truth["ml"]) < 1.5 * Z95 * found.sd


def test_a_tap_beside_the_limb_is_refused():
    lying = replace(VISITS[0].lying, photo=1, at=(700.0, 300.0))
    with pytest.raises(ShapeError, match="not tapped on the limb"):
        measured_sample(replace(VISITS[0], lying=lying))


def over_the_arm(visit, number, pixels, heights, colour, half_mm):
    """Cover the picture of an arm between heights on its true axis, to ``half_mm`` on either side."""
    photo = camera_of(visit, number)
    corners = across_the_arm(visit, photo, heights, half_mm)
    return cv2.fillPoly(pixels, [np.round(corners).astype(np.int32)], colour)


def camera_of(visit, number):
    measured = MEASURED.setdefault(visit.name, measured_sample(visit))
    return measured.calibration.cameras[number]


MEASURED: dict = {}


def across_the_arm(visit, camera, heights, half_mm):
    """Pixels (4, 2) of the corners of a band across the arm, in the plane through its axis."""
    axis = true_sample(visit)["axis"]
    along, start = np.array(axis["R"])[:, 2], np.array(axis["t"])
    towards = camera.centre - start
    beside = np.cross(along, towards)
    beside *= half_mm / np.linalg.norm(beside)
    low, high = (start + height * along for height in heights)
    return camera.project(np.array([low - beside, low + beside, high + beside, high - beside]))


def test_an_arm_in_a_sleeve_is_told(tmp_path):
    def sleeve(number, pixels):
        return over_the_arm(VISITS[0], number, pixels, (80.0, 430.0), (50, 60, 90), 75.0)

    with pytest.raises(OutlineError, match="not the colour of skin") as caught:
        measured_sample(changed(VISITS[0], tmp_path, sleeve))
    assert "Roll sleeve" in caught.value.do


def test_a_wrist_that_is_out_of_sight_is_told(tmp_path):
    """A hand that hangs over the edge, or lies under a cloth of the sheet's colour."""

    def gone(number, pixels):
        return over_the_arm(VISITS[0], number, pixels, (-260.0, 40.0), (118, 128, 120), 100.0)

    measured = measured_sample(changed(VISITS[0], tmp_path, gone))
    assert measured.fit.limb.from_mm >= 40.0
    assert "not-seen" in [finding.code for finding in measured.findings]


def test_the_other_arm_beside_it_is_told_or_does_no_harm(tmp_path):
    """The same arm again, 160 mm beside: not touching. Then 85 mm beside: they touch."""
    truth = true_sample(VISITS[0])["volumes"][-1]

    def beside(mm):
        def edit(number, pixels):
            camera = camera_of(VISITS[0], number)
            start = np.array(true_sample(VISITS[0])["axis"]["t"])
            here, there = camera.project(np.array([start, start + np.array([mm, 0.0, 0.0])]))
            grey = pixels.astype(int)
            skin = (grey[..., 0] > grey[..., 2] + 25) & (grey[..., 0] > grey[..., 1] + 10)
            move = np.float32([[1, 0, (there - here)[0]], [0, 1, (there - here)[1]]])
            size = pixels.shape[1::-1]
            moved = cv2.warpAffine(skin.astype(np.uint8), move, size) > 0
            put = moved & ~skin
            pixels[put] = cv2.warpAffine(pixels, move, size)[put]
            return pixels

        return edit

    limb = measured_sample(changed(VISITS[0], tmp_path, beside(160.0))).fit.limb
    found = volume(limb, truth["from"], truth["to"])
    assert abs(found.mean - truth["ml"]) < Z95 * found.sd
    with pytest.raises(DigitiseError, match=r"contradict|agree|straight line|do not settle") as caught:
        measured_sample(changed(VISITS[0], tmp_path, beside(85.0)))
    assert "keep the other arm or leg" in caught.value.do
