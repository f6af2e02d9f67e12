"""Hands painted on sheets: where they lie is found; a sheet without one is told."""

import cv2
import numpy as np
import painted_feet as feet
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from digitise.capture.expected.lying_hand import _LEAST_HUE, _MOST_HUE, _WARMER, _half_way, find_lying_hand
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import Board
from digitise.errors import OutlineError
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Pose
from digitise.shape.hand.prior import WRIST, usual_hand
from digitise.shape.statistical.surface import PlacedShape

CAMERA = feet.looking((5, 20, 800), (0, 0, 0))
MAT = (Board("mat", "mat", np.array([420.0, 520.0]), (), np.zeros((0, 4, 2))), Pose.identity())
PAPER, INK = (236, 234, 228), (30, 29, 28)


def sheet() -> np.ndarray:
    """A sheet with squares of ink along its rim, on a table of another colour."""
    picture = np.full((*CAMERA.size[::-1], 3), (150, 112, 80), np.uint8)

    def fill(low, high, colour):
        ring = np.array(
            [[low[0], low[1], 0], [high[0], low[1], 0], [high[0], high[1], 0], [low[0], high[1], 0]]
        )
        cv2.fillConvexPoly(picture, np.round(CAMERA.project(ring)).astype(np.int32), colour)

    fill((-210, -260), (210, 260), PAPER)
    for x in (-205, -100, 5, 110):
        for y in (-255, 165):
            fill((x, y), (x + 90, y + 90), INK)
    return picture


def photo_of(pixels) -> Photograph:
    noise = np.random.default_rng(0).normal(0, 2.0, pixels.shape)
    noisy = np.clip(pixels + noise, 0, 255).astype(np.uint8)
    return Photograph("hand.jpg", noisy, "0" * 64, None, None)


def found_in(pixels, side="left"):
    prior = usual_hand(side)
    usual = Mesh(prior.mean, prior.faces)
    return find_lying_hand(photo_of(pixels), CAMERA, [MAT], usual, prior.mean[WRIST, 1] + 15.0)


def hand_on(pixels, x, y, turn, skin, side="left"):
    prior = usual_hand(side)
    surface = PlacedShape(prior, np.concatenate([np.zeros(len(prior.modes)), [x, y, turn]]))
    at = np.round(CAMERA.project(surface.vertices)).astype(np.int32)
    for triangle in at[prior.faces]:
        cv2.fillConvexPoly(pixels, triangle, skin)
    return pixels


@pytest.mark.slow
@settings(max_examples=12, deadline=None)
@given(
    st.floats(-40, 40),
    st.floats(-40, 40),
    st.floats(-np.pi, np.pi),
    st.sampled_from([(232, 194, 168), (140, 92, 62), (64, 42, 32)]),
)
def test_a_hand_is_found_where_it_lies(x, y, turn, skin):
    lies = found_in(hand_on(sheet(), x, y, turn, skin))
    # half of its own steps, 3 mm and 10 degrees, and what the one does to the other
    assert np.hypot(lies.x - x, lies.y - y) < 9.0
    assert abs((lies.turn - turn + np.pi) % (2 * np.pi) - np.pi) < np.radians(8.0)
    assert lies.alike > 0.8


@pytest.mark.slow
def test_the_other_hand_agrees_less():
    picture = hand_on(sheet(), 5.0, -10.0, 0.2, (184, 130, 92))
    assert found_in(picture).alike > found_in(picture, "right").alike + 0.05


def test_a_sheet_without_a_hand_is_told():
    with pytest.raises(OutlineError, match="no hand was found"):
        found_in(sheet())


def test_a_hand_in_too_much_light_is_found():
    # as a photo-real hand showed them: the paper 254 of 255, the skin off its hue by a tenth
    picture = sheet()
    picture[(picture == PAPER).all(axis=-1)] = (244, 252, 252)
    lies = found_in(hand_on(picture, 5.0, -10.0, 0.2, (252, 243, 236)))
    assert np.hypot(lies.x - 5.0, lies.y + 10.0) < 9.0
    assert abs(lies.turn - 0.2) < np.radians(8.0)


def test_a_dark_sleeve_is_no_skin():
    """It is farther off the paper's hue than any skin, on the other side."""
    pixels = np.array([[(244, 252, 252)] * 60 + [(252, 243, 236)] * 30 + [(44, 50, 66)] * 30], np.uint8)
    off = (brightness_and_hue(pixels)[..., 1:] - brightness_and_hue(pixels)[0, 0, 1:]) @ _WARMER
    limit = np.clip(_half_way(off), _LEAST_HUE, _MOST_HUE)
    assert (off[0, 60:90] > limit).all()
    assert (off[0, :60] < limit).all()
    assert (off[0, 90:] < limit).all()
