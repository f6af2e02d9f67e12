"""Where both legs stand on one mat, and which photographs show each of them free."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from digitise.anatomy import Side
from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.capture.surroundings.footprints import Stands, find_stands
from digitise.capture.surroundings.scene import placed_boards
from digitise.errors import OutlineError
from digitise.geometry.camera import Camera, looks_along
from digitise.geometry.rigid import Array, Pose

# A leg is seen free from the front and from its own side.  From within this angle of the direction to the
# other foot, that leg may stand before it: half way between its front and the far side.
_FAR_SIDE_DEG = 45.0
# A foot in the middle of the mat stands no further off it; two feet beside each other are 150 mm apart.
_OFF_MIDDLE_MM = 40.0
_UPRIGHT = 0.999  # cosine of the axis to the vertical
_DO = "Photograph both legs from the front, then from the left and from the right."


def both_stands(photos: Sequence[Photograph], calibration: Calibration, field: MarkerField) -> Stands:
    """Find where both feet stand on the mat.

    Raises
    ------
    OutlineError
        Not two feet are found on it.
    """
    numbers = range(len(photos))
    return find_stands(
        [(photos[n].pixels, calibration.cameras[n], placed_boards(calibration, field, n)) for n in numbers]
    )


def stand_axis(stands: Stands, side: Side) -> Pose:
    """Return axis_from_world of the ``left`` or ``right`` leg: upright through its ankle."""
    return Pose(np.eye(3), -_place(stands, side))


def axis_beside(
    photos: Sequence[Photograph], calibration: Calibration | None, field: MarkerField, side: Side
) -> Pose | None:
    """Return the axis of the leg of a ``side`` where both feet stand on the mat, either side of its middle.

    None where a foot stands in the middle, as for one leg, or where not two feet are found.
    """
    if calibration is None:
        return None
    try:
        stands = both_stands(photos, calibration, field)
    except OutlineError:
        return None
    apart = stands.left[0] < -_OFF_MIDDLE_MM and stands.right[0] > _OFF_MIDDLE_MM
    return stand_axis(stands, side) if apart else None


def seen_from_far_side(
    photos: Sequence[Photograph], calibration: Calibration, field: MarkerField, axis_from_world: Pose
) -> dict[int, OutlineError]:
    """Tell which photographs (from 0) show a leg beside another one from that one's side, and say so.

    Only an upright axis off the mat's middle can be that of a leg beside another one; none where no two feet
    are found.
    """
    place = axis_from_world.inverse().translation
    upright = axis_from_world.rotation[2, 2] > _UPRIGHT
    if not upright or np.hypot(*place[:2]) < _OFF_MIDDLE_MM:
        return {}
    try:
        stands = both_stands(photos, calibration, field)
    except OutlineError:
        return {}
    other = max((_place(stands, side) for side in Side), key=lambda at: _apart(at, place))
    return {
        n: OutlineError("from there the other leg stands before this one.", where=photo.name, do=_DO)
        for n, photo in enumerate(photos)
        if is_on_far_side(calibration.cameras[n], place, other)
    }


def far_findings(far: Iterable[int]) -> tuple[Finding, ...]:
    """Say of photographs (from 0) that they are of the other leg alone."""
    return tuple(
        Finding("", "left-out", "note", f"Photograph {n + 1} is of the other leg: it is taken from its side.")
        for n in far
    )


def feet_on_mat(inspection: Inspection, *, both: bool) -> Inspection:
    """Return what was said of photographs; where both feet stand on the mat, without its hidden markers."""
    told = (finding for finding in inspection.findings if not (both and finding.code == "mat-hidden"))
    return replace(inspection, findings=tuple(told))


def is_on_far_side(camera: Camera, place: Array, other: Array) -> bool:
    """Tell whether a camera looks at a leg at ``place`` (3,), mm, from the side of the one at ``other``."""
    if looks_along(camera, Pose(np.eye(3), -place)):
        return False
    towards, sight = (other - place)[:2], (camera.centre - place)[:2]
    cosine = towards @ sight / (np.linalg.norm(towards) * np.linalg.norm(sight))
    return bool(cosine > np.cos(np.radians(_FAR_SIDE_DEG)))


def _place(stands: Stands, side: Side) -> Array:
    return np.array([*getattr(stands, side), 0.0])


def _apart(a: Array, b: Array) -> float:
    return float(np.linalg.norm((a - b)[:2]))
