"""Outlines with their heights counted along another axis of the same limb."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from digitise.capture.outline.find import Hidden, Outline, Stretch
from digitise.capture.photo.rectified import facing_plane
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose


def counted_along(outline: Outline, camera: Camera, axis: Pose) -> Outline:
    """Return an outline with its heights counted along another axis of the same limb."""
    plane = facing_plane(camera, axis).inverse()
    heights = [_heights(edge.points, camera, plane) for edge in outline.edges]

    def there(old: float | None) -> float | None:
        return None if old is None else float(np.interp(old, outline.heights[0], heights[0]))

    hidden = tuple(
        Hidden(part.side, there(part.from_mm) or 0.0, there(part.to_mm) or 0.0, part.what)
        for part in outline.hidden
    )
    supported = tuple(
        Stretch(part.side, there(part.from_mm) or 0.0, there(part.to_mm) or 0.0) for part in outline.supported
    )
    return replace(
        outline,
        heights=(heights[0], heights[1]),
        hem_mm=there(outline.hem_mm),
        hidden=hidden,
        supported=supported,
    )


def _heights(pixels: Array, camera: Camera, plane_from_world: Pose) -> Array:
    """Return the heights (n,) at which rays through pixels (n, 2) meet the plane through the axis, mm."""
    eye = plane_from_world.apply(camera.centre)
    rays = camera.rays(pixels) @ plane_from_world.rotation.T
    return np.asarray(np.maximum.accumulate(eye[1] - eye[2] / rays[:, 2] * rays[:, 1]))
