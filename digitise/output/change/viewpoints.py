"""From where the photographs of two compared models were taken, and how a comparison looks from there.

The second limb of a comparison lies in the frame of the first.  From a stand of the first visit both are seen
as they lie there; from one of the second visit both are moved back to where the second limb stood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from digitise.care.change.compare import Change
from digitise.care.change.motion import InverseAlignment
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.output.figures.render import Window
from digitise.output.model.form import AxisForm, ModelForm, PhotoForm, camera_from_form
from digitise.shape.limb import Limb

# A stand of the second visit is drawn when it looks from another direction than all that are: less than this
# apart, two stands see nearly the same skin.
SAME_STAND_DEGREES = 30.0
_NEAREST_MM = 100.0
_LEAST_SEEN = 0.5  # share of the compared limb
_LEAST_PX = 20.0  # of the limb's width
_MARGIN = 0.06  # of the picture's longer side


@dataclass(frozen=True)
class Viewpoint:
    """Where a photograph was taken from, for limbs in the world of the first model.

    Attributes
    ----------
    of_first
        Whether the photograph is one of the first model.
    number
        Its number among that model's photographs, from 1.
    camera
        The camera, in the world of its own model.
    back
        How the limbs must be moved before the camera sees them; None for the first model's.
    """

    of_first: bool
    number: int
    camera: Camera
    back: InverseAlignment | None = None

    @property
    def eye(self) -> Array:
        """Place of the camera (3,) in the first model's world, mm."""
        return self.camera.centre if self.back is None else self.back.undo(self.camera.centre)

    def moved(self, points: Array) -> Array:
        """Return points (..., 3) of the first model's world in the camera's world."""
        return points if self.back is None else self.back.apply(points)


def all_stands(change: Change, first: ModelForm, second: ModelForm) -> tuple[Viewpoint, ...]:
    """Return the stands to look from: those of the first model, then others of the second.

    Between the two sides of the body only the first model's: the other limb is mirrored, and nobody stood
    where its cameras would then be.
    """
    found = [Viewpoint(True, number, camera) for number, camera in _cameras(first.photos)]
    if change.mirrored:
        return tuple(found)
    back = InverseAlignment(change.first.axis_from_world, _pose(second.axis_from_world), change.alignment)
    middle = _middle(change.first)
    for number, camera in _cameras(second.photos):
        stand = Viewpoint(False, number, camera, back)
        if all(_degrees(stand.eye - middle, other.eye - middle) > SAME_STAND_DEGREES for other in found):
            found.append(stand)
    return tuple(found)


def window(stand: Viewpoint, points: Array, long_side: int) -> Window | None:
    """Return what a picture from a stand shows: points (N, 3) in the first model's world, with a margin.

    It keeps within the photograph.  None when the photograph would show less than half of them or all of them
    tiny, or was taken from among them: no photograph that a limb was measured in is like that.
    """
    camera = stand.camera
    local = camera.camera_from_world.apply(stand.moved(points))
    if not np.all(local[:, 2] > _NEAREST_MM):
        return None
    plane = local[:, :2] / local[:, 2:]
    r2 = np.sum(plane**2, axis=1)
    # where the lens folds the picture over nothing is known of it
    folded = 1.0 + r2 * (3.0 * camera.lens.k1 + 5.0 * r2 * camera.lens.k2) <= 0
    pixels, last = camera.lens.pixels_from_plane(plane), np.array(camera.size) - 0.5
    inside = np.all((pixels >= -0.5) & (pixels <= last), axis=1) & ~folded
    low, high = pixels.min(axis=0), pixels.max(axis=0)
    if inside.mean() < _LEAST_SEEN or folded.any() or np.min(high - low) < _LEAST_PX:
        return None
    margin = _MARGIN * np.max(high - low)
    low, high = np.maximum(low - margin, -0.5), np.minimum(high + margin, last)
    scale = float(np.max(high - low)) / long_side
    width, height = np.maximum(np.ceil((high - low) / scale), 1).astype(int)
    return Window(low, (int(width), int(height)), scale)


def _cameras(photos: tuple[PhotoForm, ...]) -> list[tuple[int, Camera]]:
    each = enumerate(photos, start=1)
    return [(n, camera_from_form(photo.camera)) for n, photo in each if photo.camera is not None]


def _pose(form: AxisForm) -> Pose:
    return Pose(np.array(form.rotation), np.array(form.translation_mm))


def _middle(limb: Limb) -> Array:
    height = (limb.from_mm + limb.to_mm) / 2
    centre = limb.basis.sections(limb.mean, np.array([height]))[:, 1:3]
    return limb.axis_from_world.inverse().apply(np.array([*centre[0], height]))


def _degrees(a: Array, b: Array) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)))
