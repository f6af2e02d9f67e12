"""Cameras as model.json keeps them."""

from __future__ import annotations

import numpy as np

from digitise.geometry.camera import Camera, Lens
from digitise.geometry.rigid import Pose
from digitise.output.model.form import CameraForm


def camera_form(camera: Camera) -> CameraForm:
    """Return a camera's figures, none of them rounded."""
    lens, pose = camera.lens, camera.camera_from_world
    x, y, z = (tuple(map(float, row)) for row in pose.rotation)
    return CameraForm(
        size_px=camera.size,
        fx_px=float(lens.focal_px),
        fy_px=float(lens.focal_px),
        cx_px=float(lens.centre_px[0]),
        cy_px=float(lens.centre_px[1]),
        k1=float(lens.k1),
        k2=float(lens.k2),
        rotation=(x, y, z),  # type: ignore[arg-type]
        translation_mm=tuple(map(float, pose.translation)),  # type: ignore[arg-type]
    )


def camera_from_form(form: CameraForm) -> Camera:
    """Return the camera, the same to the last bit."""
    lens = Lens(form.fx_px, np.array([form.cx_px, form.cy_px]), form.k1, form.k2)
    pose = Pose(np.array(form.rotation), np.array(form.translation_mm))
    return Camera(lens, pose, form.size_px)
