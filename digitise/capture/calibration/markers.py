"""Find the field's markers and place their corners to a fraction of a pixel, in linear light."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.calibration.corners import refine_corners
from digitise.capture.photo.photograph import Photograph, linear_light
from digitise.capture.sheets.field import MarkerField
from digitise.errors import FieldError, PhotoError
from digitise.geometry.rigid import Array

_Hit = tuple[int, Array]
_DRAWN_OUT = 2.0  # by trial on 60 photographs of standing limbs: at 3 fewer are read than at 2
_BLURRED_PX = 1.2  # up to here stored values show every marker that light shows


@dataclass(frozen=True, eq=False)
class Detection:
    """One marker in one photograph.

    Attributes
    ----------
    id
        The marker's number in its dictionary.
    corners
        (4, 2) px, pixel centres on integers: top-left, top-right, bottom-right, bottom-left as printed.
    sd_px
        (4,) standard deviation of each corner along either axis, px.
    blur_px
        Standard deviation of the edge blur at the marker's sides, px; None where it could not be measured.
    """

    id: int
    corners: Array
    sd_px: Array
    blur_px: float | None = None


def find_markers(photo: Photograph, field: MarkerField) -> tuple[Detection, ...]:
    """Find every marker of the field in a photograph, ordered by id.

    Markers of other sheets are passed over as long as the field's own are there too.

    Raises
    ------
    PhotoError
        When there is no marker, only markers of another field, a mirrored picture, or one id in two places.
    FieldError
        When the field names a dictionary that OpenCV does not have.
    """
    grey = np.asarray(cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY), np.uint8)
    detector = _detector(field.dictionary)
    hits = _detect(detector, grey)
    own = _own(photo, hits, field)
    found = _placed(grey, own)
    if _blurred(found):
        # in light, blur leaves the squares their size and gaps; in stored values it eats up the dark
        more = _detect(detector, _light_picture(grey))
        hits += more
        own |= _own(photo, more, field)
        found = _placed(grey, own)
    if _flat(own, field):
        more = _detect_flat(detector, grey)
        hits += more
        own |= {i: corners for i, corners in _own(photo, more, field).items() if i not in own}
        found = _placed(grey, own)
    if not hits:
        raise _nothing_found(photo, detector, grey)
    if not own:
        foreign = listed(i for i, _ in hits)
        raise PhotoError(
            f"The markers in this photograph ({foreign}) are not on the sheets of this field.",
            where=photo.name,
            do="Use the field.json that was made together with the printed sheets.",
        )
    return found


def _own(photo: Photograph, hits: Sequence[_Hit], field: MarkerField) -> dict[int, Array]:
    """Return the corners of the field's markers by id; one id in two places is refused."""
    known = {i for board in field.boards for i in board.ids}
    own = [(i, corners) for i, corners in hits if i in known]
    # the detector merges candidates at one place, so a second hit is a second print
    twice = [i for i, count in Counter(i for i, _ in own).items() if count > 1]
    if twice:
        raise PhotoError(
            f"Marker {listed(twice)} is in the picture more than once: a sheet was printed twice.",
            where=photo.name,
            do="Leave only one print of every sheet in the picture.",
        )
    return dict(own)


def _placed(grey: NDArray[np.uint8], own: Mapping[int, Array]) -> tuple[Detection, ...]:
    if not own:
        return ()
    ids = sorted(own)
    corners, sd, blur = refine_corners(grey, np.array([own[i] for i in ids]))
    return tuple(
        Detection(i, corners[n], sd[n], None if np.isnan(blur[n]) else float(blur[n]))
        for n, i in enumerate(ids)
    )


def _blurred(found: Sequence[Detection]) -> bool:
    measured = [d.blur_px for d in found if d.blur_px is not None]
    return 2 * len(measured) < len(found) + 1 or float(np.median(measured)) > _BLURRED_PX


def _flat(own: Mapping[int, Array], field: MarkerField) -> bool:
    """Tell whether most of what lies on the floor was not read: from low down its squares are flat."""
    lying = {i for board in field.boards if board.role == "mat" for i in board.ids}
    return 2 * len(lying & own.keys()) < len(lying)


def _detect_flat(detector: cv2.aruco.ArucoDetector, grey: NDArray[np.uint8]) -> list[_Hit]:
    """Return what is read in the picture drawn out upright, which gives flat squares their form back."""
    drawn_out = cv2.resize(grey, None, fx=1.0, fy=_DRAWN_OUT, interpolation=cv2.INTER_CUBIC)
    hits = _detect(detector, np.asarray(drawn_out, np.uint8))
    # pixel centres lie on integers in both
    return [(i, np.column_stack([c[:, 0], (c[:, 1] + 0.5) / _DRAWN_OUT - 0.5])) for i, c in hits]


def _light_picture(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the light of the picture, 255 where its brightest hundredth begins."""
    white = max(float(np.percentile(grey[::8, ::8], 99)), 1.0)
    levels = linear_light(np.arange(256, dtype=np.uint8))
    table = np.clip(255.0 * levels / np.interp(white, np.arange(256), levels), 0, 255)
    return np.asarray(cv2.LUT(grey, np.round(table).astype(np.uint8)), np.uint8)


def _detector(dictionary: str) -> cv2.aruco.ArucoDetector:
    code = getattr(cv2.aruco, dictionary, None)
    if not dictionary.startswith("DICT_") or code is None:
        raise FieldError(
            f"The marker dictionary {dictionary!r} is not known.",
            do="Use a field.json made by the command that prints the sheets.",
        )
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code))


def _detect(detector: cv2.aruco.ArucoDetector, grey: NDArray[np.uint8]) -> list[_Hit]:
    corners, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return []
    return [(int(i), np.asarray(c, float).reshape(4, 2)) for i, c in zip(ids.ravel(), corners, strict=True)]


def _nothing_found(
    photo: Photograph, detector: cv2.aruco.ArucoDetector, grey: NDArray[np.uint8]
) -> PhotoError:
    if _detect(detector, np.ascontiguousarray(grey[:, ::-1])):
        return PhotoError(
            "The photograph is mirrored, as selfie cameras save it.",
            where=photo.name,
            do="Take it again with the camera on the back of the phone.",
        )
    return PhotoError(
        "No marker found.",
        where=photo.name,
        do="Take it again with the mat and a backdrop whole in the picture, in focus and evenly lit.",
    )


def listed(ids: Iterable[int]) -> str:
    """Name marker ids in a sentence, at most eight of them."""
    shown = sorted({int(i) for i in ids})
    more = f" and {len(shown) - 8} more" if len(shown) > 8 else ""
    return ", ".join(str(i) for i in shown[:8]) + more
