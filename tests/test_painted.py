"""The main job on shapes that the photo-real cases do not have: pipes, arms, thin, huge and lobed limbs."""

import numpy as np
import pytest
import synthetic
from conftest import CASES, Case
from painted import Painted, photographs

from digitise.capture.sheets.field import read_field
from digitise.geometry.support import axis_from_points
from digitise.shape.limb import girth, volume
from digitise.tape.rows import TapeRow
from digitise.workflow.measure import measure_limb

pytestmark = pytest.mark.slow

SCENE = "turn-dark"
CENTRE = (20.0, -60.0)


def round_limb(heights, radii, flatness):
    """A limb of nearly round sections: order 2 is ``flatness`` of the radius, all others are zero."""
    radii = np.array(radii, float)
    values = np.zeros((len(radii), 13))
    values[:, 0], values[:, 1], values[:, 2] = radii, *CENTRE
    values[:, 3] = np.array(flatness) * radii
    return synthetic.HarmonicSolid.through(np.array(heights, float), values)


ARM = round_limb(
    [0, 40, 90, 130, 160, 200, 260, 320, 380, 440, 480, 540, 620, 700],
    [14, 34, 44, 34, 27, 29, 36, 42, 41, 40, 43, 47, 50, 52],
    [0.1, 0.4, 0.35, 0.3, 0.2, 0.15, 0.08, 0, 0.05, 0.05, 0.03, 0, 0, 0],
)
THIN = round_limb([0, 60, 120, 200, 300, 400, 500, 600, 780], [34, 32, 30, 34, 44, 46, 44, 50, 58], -0.1)
HUGE = round_limb(
    [0, 60, 120, 200, 300, 400, 460, 500, 600, 780],
    [60, 72, 85, 95, 115, 112, 100, 105, 125, 130],
    -0.05,
)
LOBED = round_limb(
    [0, 60, 100, 140, 180, 220, 260, 300, 340, 400, 440, 500, 600, 780],
    [45, 62, 70, 52, 66, 80, 84, 70, 82, 88, 66, 78, 92, 100],
    -0.06,
)
PIPE = synthetic.EllipticFrustum(0, 760, (55, 55), (55, 55), CENTRE, CENTRE)
CONE = synthetic.EllipticFrustum(0, 760, (38, 45), (90, 80), CENTRE, (40.0, -50.0))
LEANING = axis_from_points(np.array([0.0, 20.0, 0.0]), np.array([60.0, -40.0, 600.0]))
ON_LEG = (130.0, 240.0, 360.0, 480.0, 590.0)
ON_ARM = (200.0, 280.0, 360.0, 440.0, 540.0)
# kind of limb, shape, heights of the tape rows
SHAPES = {
    "pipe": ("leg", Painted(PIPE, 740), ON_LEG),
    "cone": ("leg", Painted(CONE, 740), ON_LEG),
    "arm": ("arm", Painted(ARM, 660), ON_ARM),
    "leaning arm": ("arm", Painted(ARM, 660, LEANING), ON_ARM),
    "thin leg": ("leg", Painted(THIN, 740), ON_LEG),
    "huge leg": ("leg", Painted(HUGE, 740), ON_LEG),
    "lobed leg": ("leg", Painted(LOBED, 740), ON_LEG),
}


def measured(shape, folder, limb, heights):
    case = Case(SCENE, CASES[SCENE] / SCENE)
    rows = tuple(TapeRow(z, float(shape.solid.girth(np.array([z]))[0])) for z in heights)
    photos = photographs(SCENE, shape, folder)
    return measure_limb(
        photos, read_field(case.field), rows, limb=limb, side="left", axis_from_world=shape.axis_from_world
    )


def volume_error(limb, solid):
    """Relative error of the volume between the limb's own heights, and its sd, both of the truth."""
    found, truth = volume(limb, limb.from_mm, limb.to_mm), solid.volume(limb.from_mm, limb.to_mm)
    return found.mean / truth - 1, found.sd / truth


def girth_errors(limb, solid):
    z = np.arange(10 * np.ceil(limb.from_mm / 10), limb.to_mm, 10.0)
    found = girth(limb, z)
    return found.mean - solid.girth(z), found.sd


@pytest.mark.parametrize("name", ["pipe", "cone"])
def test_a_pipe_is_measured_as_one(tmp_path, name):
    limb, shape, heights = SHAPES[name]
    found = measured(shape, tmp_path, limb, heights)
    assert found.fit.warnings[0].code == "solid"
    error, _ = volume_error(found.fit.limb, shape.solid)
    # 0.15 % for what two views cannot see of an ellipse, and 0.15 px (0.1 mm) of bias on both edges of 110 mm
    assert abs(error) < 0.0015 + 2 * 2 * 0.1 / 110


@pytest.mark.parametrize("name", ["arm", "leaning arm", "thin leg", "huge leg", "lobed leg"])
def test_limbs_unlike_the_samples(tmp_path, name):
    limb, shape, heights = SHAPES[name]
    fit = measured(shape, tmp_path, limb, heights).fit
    assert "solid" not in {warning.code for warning in fit.warnings}
    error, sd = volume_error(fit.limb, shape.solid)
    # the project's bars, although these shapes lack the unseen orders that limbs have
    assert abs(error) < 0.02
    assert abs(error) < 1.96 * sd
    errors, sds = girth_errors(fit.limb, shape.solid)
    assert np.mean(np.abs(errors) < 1.96 * sds) >= 0.9


@pytest.mark.parametrize("name", ["arm", "leaning arm", "thin leg", "huge leg", "lobed leg"])
def test_girths_of_limbs_unlike_the_samples(tmp_path, name):
    limb, shape, heights = SHAPES[name]
    errors, _ = girth_errors(measured(shape, tmp_path, limb, heights).fit.limb, shape.solid)
    assert np.sqrt(np.mean(errors**2)) < 4.0
