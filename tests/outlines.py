"""Outlines against true silhouettes: photographs with true cameras, and how far each edge point is off."""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from conftest import CASES, Case
from scipy.ndimage import gaussian_filter
from scipy.spatial import cKDTree
from silhouettes import true_camera
from skimage.measure import find_contours
from variants import VariantPhoto

from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import Board, read_field
from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.view import Edge

SHA = "0" * 64
SIDES = ("left", "right")


@dataclass(frozen=True)
class Setting:
    """All that the outline is found from, as it truly is.

    Attributes
    ----------
    photo
        The photograph.
    camera
        Its true camera.
    boards
        The backdrops it shows, with their true poses.
    mask
        (H, W) true silhouette, limb and cloth.
    from_mm, to_mm
        The longest segment of bare limb between ankle and hem whose volume the case states.
    """

    photo: Photograph
    camera: Camera
    boards: list[tuple[Board, Pose]]
    mask: np.ndarray
    from_mm: float
    to_mm: float


def as_photo(name: str, rgb: np.ndarray) -> Photograph:
    return Photograph(name, rgb, SHA, None, None)


@lru_cache(maxsize=8)
def setting(name: str, number: int) -> Setting:
    case = Case(name, CASES[name] / name)
    truth = case.truth
    seen = truth["photos"][number - 1]
    poses = {b["name"]: Pose(np.array(b["R"]), np.array(b["t"])) for b in seen["boards"]}
    boards = [
        (board, poses[board.name])
        for board in read_field(case.field).boards
        if board.role == "backdrop" and board.name in poses
    ]
    bgr = cv2.imread(str(case.photos[number - 1]))
    longest = max(truth["volumes"], key=lambda v: v["to"] - v["from"])
    low = max(longest["from"], 90.0)
    photo = as_photo(f"photo-{number}.jpg", np.ascontiguousarray(bgr[..., ::-1]))
    return Setting(photo, true_camera(seen), boards, case.mask(number), low, longest["to"])


def with_variant(plain: Setting, variant: VariantPhoto) -> Setting:
    camera, scale = plain.camera, variant.scale
    lens = Lens(
        camera.lens.focal_px * scale,
        scale * (camera.lens.centre_px + 0.5) - 0.5,
        camera.lens.k1,
        camera.lens.k2,
    )
    size = variant.rgb.shape[1::-1]
    return Setting(
        as_photo(variant.name, variant.rgb),
        Camera(lens, camera.camera_from_world, (size[0], size[1])),
        plain.boards,
        variant.mask,
        plain.from_mm,
        plain.to_mm,
    )


def silhouette(mask: np.ndarray) -> np.ndarray:
    """Contour points (n, 2) px of a mask, a fifth of a pixel apart and free of its staircase."""
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    padded = np.pad(mask[y : y + h, x : x + w].astype(np.float32), 12)
    # a blur of 1.5 px moves an edge of 100 px radius by 1.5^2 / 200 = 0.01 px
    contours = find_contours(gaussian_filter(padded, 1.5), 0.5)
    longest = max(contours, key=len)[:, ::-1] + [x - 12, y - 12]
    shares = np.linspace(0, 1, 5, endpoint=False)[:, None, None]
    return (longest[:-1] + shares * np.diff(longest, axis=0)).reshape(-1, 2)


@dataclass(frozen=True)
class Accuracy:
    """Distances of both edges' points from the truth, between ankle and hem.

    Attributes
    ----------
    off_px
        (n,) signed distance, positive outside the limb.
    sd_px, sure
        (n,) what the outline says of it.
    side
        (n,) 0 left, 1 right.
    heights
        (n,) mm.
    """

    off_px: np.ndarray
    sd_px: np.ndarray
    sure: np.ndarray
    side: np.ndarray
    heights: np.ndarray

    @property
    def mean_px(self) -> float:
        return float(np.abs(self.off_px).mean())

    @property
    def sure_mean_px(self) -> float:
        return float(np.abs(self.off_px[self.sure]).mean())

    @property
    def z_rms(self) -> float:
        return float(np.sqrt(np.mean((self.off_px / self.sd_px)[self.sure] ** 2)))

    def share_wrong(self, px: float = 5.0) -> float:
        """Share of the sure points that are off by more."""
        return float((np.abs(self.off_px[self.sure]) > px).mean())

    def part(self, chosen: np.ndarray) -> "Accuracy":
        return Accuracy(*(getattr(self, n)[chosen] for n in ("off_px", "sd_px", "sure", "side", "heights")))


def distances(edge: Edge, contour: np.ndarray) -> np.ndarray:
    """Signed distance (n,) of each point from a dense contour, px, positive along the edge's normal."""
    tree = cKDTree(contour)
    far, index = tree.query(edge.points)
    out = np.sum((edge.points - contour[index]) * edge.normals, axis=1)
    return np.where(out < 0, -far, far)


def accuracy(
    outline: Outline, truth: Setting, low: float | None = None, high: float | None = None
) -> Accuracy:
    contour = silhouette(truth.mask)
    low, high = truth.from_mm if low is None else low, truth.to_mm if high is None else high
    if outline.hem_mm is not None:
        high = min(high, outline.hem_mm)
    rows = []
    for side, (edge, heights) in enumerate(zip(outline.edges, outline.heights, strict=True)):
        chosen = (heights > low) & (heights < high)
        off = distances(edge, contour)
        columns = (off, edge.sd_px, edge.sure, np.full(len(off), side), heights)
        rows.append([c[chosen] for c in columns])
    return Accuracy(*(np.concatenate(parts) for parts in zip(*rows, strict=True)))
