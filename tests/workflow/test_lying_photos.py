"""Photo-real arms that lie on supports, measured from files alone against their truth; what is refused."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from lying_accuracy import axis_errors, measured_sample, true_sample
from PIL import Image

from digitise.errors import DigitiseError, PhotoError, ShapeError
from digitise.output.model.files import model_text
from digitise.samples import sample_visits
from digitise.shape.limb import Z95, girth, volume

pytestmark = pytest.mark.slow

VISITS = sample_visits("arm")
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


def changed(visit, folder, edit):
    """The visit with photographs edited: ``edit(number, pixels)`` from 0."""
    paths = []
    for number, path in enumerate(visit.photos):
        picture = Image.open(path)
        pixels = edit(number, np.asarray(picture).copy())
        paths.append(folder / path.name)
        Image.fromarray(pixels).save(paths[-1], quality=90, exif=picture.getexif())
    return replace(visit, photos=tuple(paths))


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
