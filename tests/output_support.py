"""A measured limb with closed-form truth, and the photographs that would belong to it."""

import dataclasses
import hashlib

import cv2
import numpy as np
import synthetic

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import PhotoFacts
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured
from digitise.shape.fit import fit_limb
from digitise.tape.rows import TapeRow

SOLID = synthetic.EllipticFrustum(0, 800, (40, 50), (80, 70), (0, 10), (30, -20))
LOW, HIGH = 80, 420
BACKDROP, SKIN = (120, 150, 130), (190, 140, 110)
ROWS = (120.0, 200.0, 260.0, 330.0)


def painted(camera, edges, name):
    """A photograph of the limb in one colour before a backdrop in another."""
    pixels = np.full((*camera.size[::-1], 3), BACKDROP, np.uint8)
    polygon = np.concatenate([edges[0].points, edges[1].points[::-1]])
    cv2.fillPoly(pixels, [np.round(polygon * 16).astype(np.int32)], SKIN, cv2.LINE_AA, 4)
    return Photograph(name, pixels, "0123456789abcdef" * 4, 26.0, None)


def with_doubt(edge, low, high):
    """The edge with its points between two indices unsure."""
    sure = edge.sure.copy()
    sure[low:high] = False
    return dataclasses.replace(edge, sure=sure)


def measure(axis=None, **options):
    """A measured limb along ``axis`` (a pose, the upright one when not given), from exact edges."""
    axis = Pose.identity() if axis is None else axis
    cameras = synthetic.walking_cameras(target=(0.0, 0.0, 250.0))
    views = synthetic.exact_views(SOLID, cameras, LOW, HIGH, step=2, axis_from_world=axis)
    edges = [(with_doubt(view.edges[0], 60, 75), view.edges[1]) for view in views]
    views = tuple(dataclasses.replace(view, edges=pair) for view, pair in zip(views, edges, strict=True))
    tape = tuple(TapeRow(z, float(SOLID.girth(np.array([z]))[0]) + 1.5, n) for n, z in enumerate(ROWS, 2))
    heights = np.arange(LOW, HIGH + 1.0, 2.0)
    names = ("front.jpg", "side.jpg")
    calibration = Calibration(
        cameras=cameras,
        boards=({}, {}),
        still={},
        rms_px=(0.41, 0.52),
        used=((0, 1, 2, 5), (0, 1, 3)),
        rejected=({7: 4.0}, {}),
        lens_of=(0, 0),
        covariance=np.zeros((0, 0)),
        camera_modes=(),
    )
    return Measured(
        photos=tuple(painted(c, pair, name) for c, pair, name in zip(cameras, edges, names, strict=True)),
        calibration=calibration,
        outlines=tuple(Outline(pair, (heights, heights), None) for pair in edges),
        fit=fit_limb(views, tape, axis_from_world=axis, **options),
        tape=tape,
        findings=(
            Finding("front.jpg", "sharp", "note", "The picture is sharp."),
            Finding("side.jpg", "exposed", "warning", "The picture is dark.", "Switch on a light."),
        ),
        facts=tuple(PhotoFacts(name, {"mat": 3, "backdrop-a": 1}) for name in names),
        axis_from_world=axis,
    )


def changed(measured, **limb):
    """The same measurement with other values in its limb."""
    fit = dataclasses.replace(measured.fit, limb=dataclasses.replace(measured.fit.limb, **limb))
    return dataclasses.replace(measured, fit=fit)


def with_own_photos(measured, mark):
    """The same measurement, from photographs that no other one shares."""
    photos = tuple(
        dataclasses.replace(photo, sha256=hashlib.sha256(f"{mark}/{photo.name}".encode()).hexdigest())
        for photo in measured.photos
    )
    return dataclasses.replace(measured, photos=photos)
