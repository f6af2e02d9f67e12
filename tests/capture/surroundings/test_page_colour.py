"""Print behind the limb is told from it by hue, whatever it shows."""

import dataclasses

import cv2
import numpy as np
import pytest
from strips import CAMERA, SKIN, made_strip

from digitise.capture.outline.sub_pixel.edge import without_print
from digitise.capture.photo.colour import brightness_and_hue
from digitise.capture.photo.rectified import facing_plane
from digitise.capture.sheets.field import Board
from digitise.capture.surroundings.page_colour import find_print, is_page
from digitise.geometry.rigid import Pose

PAPER, INK = (226, 226, 222), (38, 38, 37)
SIDE = 60.0


def page(columns=2, rows=3) -> Board:
    """Return a page of markers, 90 mm apart."""
    size = np.array([columns * 90.0, rows * 90.0])
    middles = [
        (-size[0] / 2 + 45 + 90 * c, size[1] / 2 - 45 - 90 * r) for r in range(rows) for c in range(columns)
    ]
    square = SIDE / 2 * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    return Board(
        "page", "backdrop", size, tuple(range(len(middles))), np.array([square + m for m in middles])
    )


def placed(x: float, z: float) -> Pose:
    """Return the pose of a page in the plane of the strip."""
    plane = facing_plane(CAMERA, Pose.identity())
    return plane @ Pose(np.eye(3), np.array([x, z, 0.0]))


def printed(rng, board, x, z, skin):
    """Return a strip with a page behind the limb, its markers chequered, and where the page is seen."""
    half = board.size / 2

    def on_page(u, v):
        return (np.abs(u - x) < half[0]) & (np.abs(v - z) < half[1])

    def ink(u, v):
        squares = np.any(
            [
                (np.abs(u - x - m[0]) < SIDE / 2) & (np.abs(v - z - m[1]) < SIDE / 2)
                for m in board.corners.mean(axis=1)
            ],
            axis=0,
        )
        return squares & ((np.floor(u / 8) + np.floor(v / 8)) % 2 == 0)

    plain = made_strip(rng, skin=skin)
    seen = lambda where: lambda u, v: where(u, v) & ~plain.limb  # noqa: E731
    return made_strip(rng, skin=skin, edits=[(seen(on_page), PAPER), (seen(ink), INK)]), on_page


@pytest.mark.parametrize("skin", [(244, 222, 208), SKIN, (64, 42, 32)])
def test_print_and_skin_before_it_are_told_apart(rng, skin):
    board = page()
    made, on_page = printed(rng, board, 60.0, 400.0, skin)
    core = np.zeros(made.limb.shape, bool)
    found = find_print(
        made.strip, brightness_and_hue(made.strip.pixels), [(board, placed(60.0, 400.0))], core
    )
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    # paper is taken to end 4 mm within the page
    well_within = (np.abs(x - 60.0) < board.size[0] / 2 - 6) & (np.abs(z - 400.0) < board.size[1] / 2 - 6)
    assert np.array_equal(found.paper & well_within, well_within)
    rim = cv2.dilate(made.limb.astype(np.uint8), np.ones((5, 5))) - cv2.erode(
        made.limb.astype(np.uint8), np.ones((5, 5))
    )
    clear = well_within & (rim == 0)
    # squared distances: below 12 is like the backdrop, beyond 20 something stands before it
    assert np.mean(found.distance2[clear & ~made.limb] < 12.0) > 0.97
    before = found.distance2[clear & made.limb]
    assert np.mean(before > 12.0) > 0.97
    assert np.mean(before > 20.0) > 0.8  # the lightest skin, unshaded, is nearest to paper
    assert not found.paper[~on_page(x, z)].any()


def test_a_page_in_the_shade_of_a_corner_is_paper_too(rng):
    """Its white is half as bright as that of the pages above it, and tinted: 0.7 and 0.13 log units."""
    low, high = page(), page(columns=6, rows=2)
    made, _ = printed(rng, low, -60.0, 320.0, (64, 42, 32))
    light, _ = printed(rng, high, -60.0, 720.0, (64, 42, 32))
    x, z = np.meshgrid(made.strip.offsets, made.strip.heights)
    shaded = (z < 500.0) & (x < 60.0) & ~made.limb
    dim = np.where(shaded[..., None], made.strip.pixels * np.array([0.753, 0.71, 0.70]), made.strip.pixels)
    pixels = np.where((z > 600.0)[..., None], light.strip.pixels, dim).astype(np.uint8)
    strip = dataclasses.replace(made.strip, pixels=pixels)
    boards = [(low, placed(-60.0, 320.0)), (high, placed(-60.0, 720.0))]
    found = find_print(strip, brightness_and_hue(pixels), boards, np.zeros(made.limb.shape, bool))
    seen = found.paper & (z < 500.0) & (np.abs(x - made.left[:, None]) > 8.0)
    assert np.mean(found.distance2[seen & ~made.limb] < 12.0) > 0.9
    assert np.mean(found.distance2[seen & made.limb] > 12.0) > 0.9


def test_a_page_turned_away_is_no_backdrop(rng):
    board = page()
    made, _ = printed(rng, board, 60.0, 400.0, SKIN)
    away = placed(60.0, 400.0) @ Pose(np.diag([-1.0, 1.0, -1.0]), np.zeros(3))
    found = find_print(
        made.strip, brightness_and_hue(made.strip.pixels), [(board, away)], np.zeros(made.limb.shape, bool)
    )
    assert not (found.paper | found.border).any()


def test_a_page_is_full_of_markers():
    assert is_page(page())
    few = page()
    assert not is_page(Board("panel", "backdrop", 4 * few.size, few.ids, few.corners))


def test_without_print_a_profile_shows_the_limb_alone():
    """Ink and paper of one hue leave nothing, whatever their pattern; skin leaves its own hue."""
    brightness = np.where(np.arange(23) % 4 < 2, 0.8, 0.05)
    paper = np.stack([brightness, 0.03 * brightness, -0.02 * brightness], axis=1)
    skin = np.tile([0.4, 0.12, -0.1], (23, 1))
    light = np.where(np.arange(23)[:, None] < 11, skin, paper)[None].astype(np.float32)
    found = without_print(light, np.array([True]), 1)
    assert np.abs(found[0, 11:]).max() < 1e-6
    assert found[0, :11, 1] == pytest.approx(0.12 - 0.03 * 0.4, abs=1e-6)
    assert np.array_equal(without_print(light, np.array([False]), 1), light)
    flipped = without_print(light[:, ::-1], np.array([True]), -1)
    assert flipped[0, ::-1] == pytest.approx(found[0], abs=1e-6)
