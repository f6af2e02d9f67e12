"""Views from the true silhouettes and cameras of the photo-real cases: the edge without an outline finder."""

import csv

import cv2
import numpy as np
from conftest import ROOT
from scipy.ndimage import gaussian_filter1d
from skimage.measure import find_contours

from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.geometry.view import Edge, View
from digitise.tape.rows import TapeRow

# The renderer's silhouettes are anti-aliased, so their half level is good to about a tenth of a pixel.
MASK_SD_PX = 0.15
TRUTH = ROOT / "tests/data/truth"


def true_camera(photo: dict) -> Camera:
    k1, k2, *_ = photo["dist"]
    lens = Lens(photo["fx"], np.array([photo["cx"], photo["cy"]]), k1, k2)
    pose = Pose(np.array(photo["R"]), np.array(photo["t"]))
    return Camera(lens, pose, (photo["width"], photo["height"]))


def contour_edge(contour: np.ndarray, outward: float) -> Edge:
    """An edge from ordered (x, y) points; ``outward`` is the sign of the normal's x on a vertical edge."""
    smooth = gaussian_filter1d(contour, 4.0, axis=0, mode="nearest")
    tangent = np.gradient(smooth, axis=0)
    normal = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    normal *= np.sign(np.median(normal[:, 0])) * outward
    n = len(contour)
    return Edge(smooth, normal, np.full(n, MASK_SD_PX), *np.ones((2, n), bool))


def silhouette_edges(grey: np.ndarray, top_row: float, foot_row: float) -> tuple[Edge, Edge]:
    """Left and right edge of a silhouette, foot to trunk, between two picture rows."""
    contour = max(find_contours(grey.astype(np.float32), 127.5), key=len)[:-1, ::-1]
    contour = np.roll(contour, -int(np.argmax(contour[:, 1])), axis=0)
    inside = (contour[:, 1] > top_row) & (contour[:, 1] < foot_row)
    runs = [
        run
        for run in np.split(np.arange(len(contour)), np.flatnonzero(np.diff(inside)) + 1)
        if inside[run[0]] and len(run) > 200
    ]
    runs = sorted(runs, key=len)[-2:]
    edges = []
    for run in runs:
        points = contour[run]
        edges.append(points if points[0, 1] > points[-1, 1] else points[::-1])
    edges.sort(key=lambda points: points[:, 0].mean())
    return contour_edge(edges[0], -1.0), contour_edge(edges[1], 1.0)


def silhouette_view(case, number: int) -> View:
    photo = case.truth["photos"][number - 1]
    camera = true_camera(photo)
    grey = cv2.imread(str(TRUTH / case.name / f"mask-{number}.png"), cv2.IMREAD_GRAYSCALE)
    rows = np.flatnonzero((grey > 127).any(axis=1))
    # the cut at the top is no edge of the limb: leave out the rows near it
    edges = silhouette_edges(grey, rows[0] + 70, rows[-1] - 30)
    return View(f"photo-{number}.jpg", camera, edges)


def tape_rows(path) -> tuple[TapeRow, ...]:
    with path.open() as file:
        rows = [r for r in csv.reader(file) if r and not r[0].startswith("#")][1:]
    return tuple(TapeRow(float(a), float(b), i + 2) for i, (a, b) in enumerate(rows))
