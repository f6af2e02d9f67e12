"""Very dark skin in hard light: gloss and shade make lines that are no stick's nor another leg's."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_visits import measured_visit, true_sections
from scipy.interpolate import CubicSpline
from strips import looking_at

from digitise.capture.outline.hiding import holds_sticks
from digitise.capture.outline.result import Outline
from digitise.capture.photo.rectified import Strip, facing_plane
from digitise.capture.surroundings.sticks import Stick, nothing_in_front
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.view import Edge
from digitise.shape.limb import volume

HOME = Path(__file__).parents[1] / "data"
LENS, SIZE = Lens(1515.0, np.array([749.5, 999.5])), (1500, 2000)
CAMERA = Camera(LENS, looking_at((0, 1600, 450), (0, 0, 450)), SIZE)
HEIGHTS = np.arange(30.0, 800.0, 2.0)
NONE = np.empty(0)
STRIP = Strip(CAMERA, facing_plane(CAMERA, Pose.identity()), NONE, NONE, np.zeros((0, 0, 3), np.uint8))


def test_a_very_dark_leg_in_hard_light_is_measured():
    """Half size; all of it was taken for two sticks before a limb that was not found.

    Below 250 mm one photograph's edges still are: there it shows neither.
    """
    truth = HOME / "truth/gloss/truth.json"
    side = json.loads(truth.read_text())["side"]
    limb = measured_visit(HOME / "samples/gloss", side, 250.0, 600.0).fit.limb
    height, area, _ = true_sections(truth).values()
    low, high = volume(limb, 250.0, 600.0).interval_95
    true = CubicSpline(height, area).integrate(250.0, 600.0) / 1000
    assert low < true < high


def outline(half_mm: float) -> Outline:
    """A straight limb about the axis, as the camera sees it."""
    yes = np.ones(len(HEIGHTS), bool)
    edges = [
        Edge(
            STRIP.photo_from_plane(np.full(len(HEIGHTS), out * half_mm), HEIGHTS),
            np.tile([out, 0.0], (len(HEIGHTS), 1)),
            np.full(len(HEIGHTS), 0.3),
            yes,
            yes,
        )
        for out in (-1.0, 1.0)
    ]
    return Outline((edges[0], edges[1]), (HEIGHTS, HEIGHTS), None)


@pytest.mark.parametrize(
    ("stick", "held"),
    [
        (Stick(-20.0, 10.0, 0.0, 700.0), True),
        (Stick(20.0, 58.0, 0.0, 700.0), True),  # up to 10 mm beyond an edge: it may be that edge
        (Stick(20.0, 62.0, 0.0, 700.0), False),
        (Stick(-110.0, -80.0, 0.0, 700.0), False),
        # it leaves the limb, with 10 mm to spare, 300 mm up: within on less than three quarters of 570 mm
        (Stick(0.0, 30.0, 0.1, 700.0), False),
    ],
)
def test_sticks_that_lie_on_the_limb_are_its_own_lines(stick, held):
    found = replace(nothing_in_front(), sticks=(stick,))
    assert holds_sticks(outline(50.0), STRIP, found) is held
    # one that is beside the limb stands there, whatever the others are
    beside = replace(found, sticks=(stick, Stick(150.0, 180.0, 0.0, 700.0)))
    assert holds_sticks(outline(50.0), STRIP, beside) is False
