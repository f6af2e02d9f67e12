"""Find the field's markers and place their corners to a fraction of a pixel, in linear light."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from digitise.capture.corners import refine_corners
from digitise.capture.field import MarkerField
from digitise.capture.photo import Photograph
from digitise.errors import FieldError, PhotoError
from digitise.geometry.rigid import Array


@dataclass(frozen=True)
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
    ids, corners = _detect(detector, grey)
    if not ids:
        raise _nothing_found(photo, detector, grey)
    known = {i for board in field.boards for i in board.ids}
    own = [k for k, i in enumerate(ids) if i in known]
    if not own:
        raise PhotoError(
            f"The markers in this photograph ({_listed(ids)}) are not on the sheets of this field.",
            where=photo.name,
            do="Use the field.json that was made together with the printed sheets.",
        )
    _refuse_repeats(photo, [ids[k] for k in own])
    placed, sd, blur = refine_corners(grey, np.array([corners[k] for k in own]))
    found = [
        Detection(ids[k], placed[n], sd[n], None if np.isnan(blur[n]) else float(blur[n]))
        for n, k in enumerate(own)
    ]
    return tuple(sorted(found, key=lambda detection: detection.id))


def _detector(dictionary: str) -> cv2.aruco.ArucoDetector:
    code = getattr(cv2.aruco, dictionary, None)
    if not dictionary.startswith("DICT_") or code is None:
        raise FieldError(
            f"The marker dictionary {dictionary!r} is not known.",
            do="Use a field.json made by the command that prints the sheets.",
        )
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(code))


def _detect(detector: cv2.aruco.ArucoDetector, grey: NDArray[np.uint8]) -> tuple[list[int], list[Array]]:
    corners, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return [], []
    return [int(i) for i in ids.ravel()], [np.asarray(c, float).reshape(4, 2) for c in corners]


def _nothing_found(
    photo: Photograph, detector: cv2.aruco.ArucoDetector, grey: NDArray[np.uint8]
) -> PhotoError:
    if _detect(detector, np.ascontiguousarray(grey[:, ::-1]))[0]:
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


def _refuse_repeats(photo: Photograph, ids: Sequence[int]) -> None:
    # the detector merges candidates at one place, so a second hit is a second print
    twice = [i for i, count in Counter(ids).items() if count > 1]
    if twice:
        raise PhotoError(
            f"Marker {_listed(twice)} is in the picture more than once: a sheet was printed twice.",
            where=photo.name,
            do="Leave only one print of every sheet in the picture.",
        )


def _listed(ids: Sequence[int]) -> str:
    shown = sorted(set(ids))
    more = f" and {len(shown) - 8} more" if len(shown) > 8 else ""
    return ", ".join(str(i) for i in shown[:8]) + more
