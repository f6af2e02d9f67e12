"""Made strips: a limb of known boundaries before a plain backdrop, painted cell by cell."""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import cv2
import numpy as np
from scipy.ndimage import gaussian_filter
from scipy.spatial.transform import Rotation

from digitise.capture.outline.region import Region
from digitise.capture.photo.rectified import LOWEST_MM, STEP_MM, Strip, facing_plane
from digitise.capture.surroundings.plain_areas import Area
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose

TOP_MM = 900.0
SIZE = (1500, 2000)
SKIN = (196, 150, 122)
PANEL = (120, 170, 130)
FLOOR = (92, 84, 74)
NOISE = 2.0  # grey levels


def looking_at(eye, target, roll=0.0) -> Pose:
    """Return the camera-from-world pose of a camera at ``eye`` that looks at ``target``."""
    eye, target = np.array(eye, float), np.array(target, float)
    z = (target - eye) / np.linalg.norm(target - eye)
    x = np.cross(z, [0.0, 0.0, 1.0])
    x /= np.linalg.norm(x)
    turn = Rotation.from_rotvec([0, 0, roll]).as_matrix() @ np.array([x, np.cross(z, x), z])
    return Pose(turn, -turn @ eye)


CAMERA = Camera(
    Lens(1515.0, np.array([749.5, 999.5])), looking_at((0, 1600, 450), (0, 0, 450)), SIZE
)  # 1.6 m in front of the limb


@dataclass(frozen=True)
class MadeStrip:
    """A painted strip and its truth.

    Attributes
    ----------
    strip
        The strip.
    left, right
        (H,) true boundaries of the limb, mm.
    area
        The panel, which lies in the strip's own plane.
    limb
        (H, W) True in the limb.
    """

    strip: Strip
    left: np.ndarray
    right: np.ndarray
    area: Area
    limb: np.ndarray


def rectangle(left: float, right: float, low: float, high: float) -> np.ndarray:
    """Return the outline (40, 3) of a rectangle in the plane of the strip, in the world."""
    corners = np.array([[left, low], [right, low], [right, high], [left, high], [left, low]])
    steps = np.linspace(0, 1, 10, endpoint=False)[:, None]
    flat = np.concatenate([a + steps * (b - a) for a, b in pairwise(corners)])
    return facing_plane(CAMERA, Pose.identity()).apply(np.column_stack([flat, np.zeros(len(flat))]))


def panel_area(left=-270.0, right=270.0, low=90.0, high=880.0, rim=80.0) -> Area:
    """Return a panel in the plane of the strip, with a rim of ``rim`` mm."""
    inner = rectangle(left + rim, right - rim, low + rim, high - rim)
    return Area(rectangle(left, right, low, high), inner, inner[:0], inner[:0])


def limb_sides(heights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the boundaries of a leg: 38 mm of half width above the ankle, 62 at the calf, a foot below."""
    half = 38 + 24 * np.exp(-(((heights - 380) / 130) ** 2)) + 0.03 * np.maximum(heights - 500, 0)
    foot = 30 * np.clip((85 - heights) / 60, 0, 1)
    lean = 8 * np.sin(heights / 300)
    return lean - half - 0.3 * foot, lean + half + foot


def made_strip(
    rng, *, skin=SKIN, panel=PANEL, floor=FLOOR, light=None, edits=(), area=None, noise=NOISE
) -> MadeStrip:
    """Paint a strip.

    Parameters
    ----------
    rng
        Source of the noise.
    skin, panel, floor
        sRGB of the three surfaces; the floor is seen below 90 mm.
    light
        Function of (offset, height) arrays, mm, that gives a factor on the stored values of the surroundings.
    edits
        Pairs of a function of (offset, height) that gives a mask and the sRGB put there.
    area
        The panel; by default `panel_area()`.
    noise
        Standard deviation of the stored values.
    """
    heights = np.arange(TOP_MM, LOWEST_MM, -STEP_MM)
    offsets = np.arange(-340.0, 341.0, STEP_MM)
    x, z = np.meshgrid(offsets, heights)
    left, right = limb_sides(heights)
    limb = (x >= left[:, None]) & (x <= right[:, None])
    picture = np.where((z >= 90.0)[..., None], np.array(panel, float), np.array(floor, float))
    if light is not None:
        picture = picture * light(x, z)[..., None]
    picture[limb] = skin
    for where, colour in edits:
        picture[where(x, z)] = colour
    picture = gaussian_filter(picture, (0.5, 0.5, 0)) + rng.normal(0, noise, picture.shape)
    pixels = np.clip(np.rint(picture), 0, 255).astype(np.uint8)
    strip = Strip(CAMERA, facing_plane(CAMERA, Pose.identity()), heights, offsets, pixels)
    return MadeStrip(strip, left, right, panel_area() if area is None else area, limb)


@lru_cache(maxsize=1)
def _cells_of_pixels() -> np.ndarray:
    """Strip cells (H, W, 2) seen by every pixel of CAMERA; every made strip has the same geometry."""
    heights = np.arange(TOP_MM, LOWEST_MM, -STEP_MM)
    offsets = np.arange(-340.0, 341.0, STEP_MM)
    empty = Strip(
        CAMERA, facing_plane(CAMERA, Pose.identity()), heights, offsets, np.zeros((0, 0, 3), np.uint8)
    )
    x, y = np.meshgrid(np.arange(SIZE[0], dtype=float), np.arange(SIZE[1], dtype=float))
    return empty.cells(empty.plane_from_photo(np.stack([x, y], axis=-1))).astype(np.float32)


def photograph(made: MadeStrip) -> np.ndarray:
    """Return the photograph (H, W, 3) that shows what the strip shows; a pixel is about 1 mm."""
    cells = _cells_of_pixels()
    return cv2.remap(
        made.strip.pixels, cells[..., 0], cells[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )


def true_region(made) -> Region:
    """Return the region as it truly is, so that only what follows it is tested."""
    rows = np.flatnonzero(made.strip.heights < 880)
    nothing = np.zeros(made.limb.shape, np.float32)
    doubt = np.zeros(len(rows), bool)
    still = np.zeros(len(rows))
    return Region(
        rows,
        made.left[rows],
        made.right[rows],
        (nothing, nothing),
        *[(doubt, doubt)] * 3,
        (still, still),
        doubt,
        *[(doubt, doubt)] * 3,
    )
