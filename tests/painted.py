"""Photographs of solids with closed forms: painted into the photo-real scenes in place of their limb.

The scene's own limb is taken out (the plain backdrop is carried on behind it); the solid's exact silhouette
in the true camera is filled with skin, shaded as a round thing is, and blurred as the photograph is.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import synthetic
from conftest import CASES, Case
from matting import PAPER, PSF_PX, encoded, linear, scene
from PIL import Image
from silhouettes import true_camera

from digitise.geometry.rigid import Array, Pose

_COARSE = 8  # the backdrop is carried on at this share of the size
_SUBPIXEL = 4
_HEM = np.array([0.03, 0.035, 0.06])  # dark blue cloth, reflectance
_ROUND = np.linspace(0.0, 2 * np.pi, 200, endpoint=False)


@dataclass(frozen=True)
class Painted:
    """A solid to paint.

    Attributes
    ----------
    solid
        Its sections are given in the axis frame.
    top
        Where it ends, mm; the last 60 mm are covered by cloth.
    axis_from_world
        As for a limb.
    """

    solid: synthetic.Solid
    top: float
    axis_from_world: Pose | None = None
    hem: float = 60.0


@cache
def _plate(name: str, number: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return a scene without its limb (linear light), lit paper and the skin's reflectance."""
    taken = scene(Case(name, CASES[name] / name), number)
    cut = cv2.dilate(taken.mask.astype(np.uint8), np.ones((41, 41)))
    size = cut.shape[::-1]
    coarse = (size[0] // _COARSE, size[1] // _COARSE)
    small = cv2.resize(encoded(taken.light), coarse, interpolation=cv2.INTER_AREA)
    hole = (cv2.resize(cut * 255, coarse, interpolation=cv2.INTER_AREA) > 0).astype(np.uint8)
    filled = cv2.inpaint(small, cv2.dilate(hole, np.ones((3, 3))), 5, cv2.INPAINT_TELEA)
    carried = cv2.resize(linear(filled), size, interpolation=cv2.INTER_CUBIC)
    share = cv2.GaussianBlur(cut.astype(np.float32), (0, 0), 4)[..., None]
    grain = 1 + 0.012 * np.random.default_rng(number).standard_normal(cut.shape).astype(np.float32)
    back = taken.light * (1 - share) + carried * share * grain[..., None]
    return back.astype(np.float32), taken.paper, taken.flesh


def _share(polygons: list[np.ndarray], box: tuple[int, int, int, int]) -> np.ndarray:
    """Return the share of each pixel of the box (x0, y0, x1, y1) that the polygons cover, blurred."""
    x0, y0, x1, y1 = box
    canvas = np.zeros(((y1 - y0) * _SUBPIXEL, (x1 - x0) * _SUBPIXEL), np.uint8)
    for polygon in polygons:
        fine = (polygon - [x0, y0] + 0.5) * _SUBPIXEL - 0.5
        cv2.fillPoly(canvas, [np.rint(fine * 16).astype(np.int32)], 255, shift=4)
    blurred = cv2.GaussianBlur(canvas.astype(np.float32) / 255, (0, 0), PSF_PX * _SUBPIXEL)
    return cv2.resize(blurred, (x1 - x0, y1 - y0), interpolation=cv2.INTER_AREA)


def _shade(left: Array, right: Array, box: tuple[int, int, int, int]) -> np.ndarray:
    """Return the brightness of a round thing with light from the front and a little from the right."""
    x0, y0, x1, y1 = box
    rows = np.arange(y0, y1)
    ends = [np.interp(rows, *side[np.argsort(side[:, 1])].T[::-1])[:, None] for side in (left, right)]
    across = (2 * np.arange(x0, x1) - ends[0] - ends[1]) / np.maximum(ends[1] - ends[0], 2)
    across = np.clip(across, -1, 1)
    skin = np.random.default_rng(7)
    pores = 0.24 * cv2.GaussianBlur(skin.standard_normal(across.shape), (0, 0), 12)
    grain = 0.012 * skin.standard_normal(across.shape)
    return (0.62 + 0.38 * np.sqrt(1 - across**2) + 0.15 * across) * (1 + pores + grain)


def _ring(shape: Painted, camera, z: float) -> np.ndarray:
    h, turned, _ = shape.solid.support(_ROUND, np.full(len(_ROUND), z))
    x, y = h * np.cos(_ROUND) - turned * np.sin(_ROUND), h * np.sin(_ROUND) + turned * np.cos(_ROUND)
    axis = shape.axis_from_world or Pose.identity()
    return camera.project(axis.inverse().apply(np.stack([x, y, np.full(len(x), z)], axis=1)))


def paint(name: str, number: int, shape: Painted) -> np.ndarray:
    """Return photograph ``number`` of case ``name`` with the solid in it, (H, W, 3) uint8."""
    back, paper, flesh = _plate(name, number)
    camera = true_camera(Case(name, CASES[name] / name).truth["photos"][number - 1])
    (view,) = synthetic.exact_views(
        shape.solid, (camera,), 0.0, shape.top, axis_from_world=shape.axis_from_world
    )
    left, right = (edge.points for edge in view.edges)
    outline = [
        np.concatenate([left, right[::-1]]),
        _ring(shape, camera, 0.0),
        _ring(shape, camera, shape.top),
    ]
    every = np.concatenate(outline)
    x0, y0 = np.maximum(np.floor(every.min(axis=0)).astype(int) - 8, 0)
    x1, y1 = np.minimum(np.ceil(every.max(axis=0)).astype(int) + 8, back.shape[1::-1])
    box = (x0, y0, x1, y1)
    covered = -round(shape.hem)
    cloth = _share([np.concatenate([left[covered:], right[covered:][::-1]]), outline[2]], box)[..., None]
    colour = (flesh * (1 - cloth) + _HEM * cloth) / PAPER * paper
    alpha = _share(outline, box)[..., None]
    light = back.copy()
    part = light[y0:y1, x0:x1]
    part += alpha * (colour * _shade(left, right, box)[..., None] - part)
    return encoded(light)


def photographs(name: str, shape: Painted, folder: Path) -> list[Path]:
    """Write both photographs of the scene with the solid in it, with the scene's own EXIF."""
    case, paths = Case(name, CASES[name] / name), []
    for number in (1, 2):
        paths.append(folder / f"photo-{number}.jpg")
        exif = Image.open(case.photos[number - 1]).getexif()
        Image.fromarray(paint(name, number, shape)).save(paths[-1], quality=93, exif=exif)
    return paths
