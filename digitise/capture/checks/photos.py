"""The photo check: what can be told of photographs before a limb is measured in them, and what to do."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.calibration.markers import Detection
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.calibration.setup import lens_groups
from digitise.capture.checks import picture as picture_check
from digitise.capture.checks import view as view_check
from digitise.capture.checks.finding import Finding
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.errors import PhotoError


def check_photos(
    photos: Sequence[Photograph],
    detections: Sequence[Sequence[Detection]],
    calibration: Calibration | None,
    field: MarkerField,
    *,
    lying: bool = False,
) -> tuple[Finding, ...]:
    """Tell of every photograph whether it is sharp, well exposed, complete and well placed.

    Parameters
    ----------
    photos, detections
        Photographs and the markers found in each.
    calibration
        Their solved cameras, or None when the solve failed or is still to come: geometry is then left out.
    field
        The sheets.
    lying
        Whether the limb lies: distance, reach and angles round a standing one are then left out.

    Raises
    ------
    PhotoError
        When the same photograph is given twice.
    """
    _refuse_twins(photos)
    names = [photo.name for photo in photos]
    findings: list[Finding] = []
    for n, photo in enumerate(photos):
        findings += [
            picture_check.sharpness(photo, detections[n]),
            picture_check.exposure(photo, detections[n]),
        ]
        findings += _focal(photo)
        if calibration is not None:
            findings += _view(names[n], n, [d.id for d in detections[n]], calibration, field)
            findings += () if lying else _place(names[n], n, calibration, field)
    findings += _other_lens(photos)
    if calibration is not None and not lying:
        findings += view_check.angles(names, calibration.cameras)
    return tuple(findings)


def _view(
    name: str, n: int, found: Sequence[int], calibration: Calibration, field: MarkerField
) -> Iterator[Finding]:
    camera, placed = calibration.cameras[n], calibration.boards[n]
    yield from view_check.markers_in_sight(name, found, camera, placed, field)
    yield from view_check.fit(name, calibration.rms_px[n], calibration.rejected[n])


def _place(name: str, n: int, calibration: Calibration, field: MarkerField) -> Iterator[Finding]:
    yield view_check.distance(name, calibration.cameras[n])
    yield from view_check.reach(name, calibration.cameras[n], calibration.boards[n], field)


def _refuse_twins(photos: Sequence[Photograph]) -> None:
    for a, b in combinations(photos, 2):
        if a.sha256 == b.sha256:
            names = a.name if a.name == b.name else f"{a.name} and {b.name}"
            raise PhotoError(
                "The same photograph is given twice.",
                where=names,
                do="Give photographs taken from different places, about a quarter turn apart.",
            )


def _focal(photo: Photograph) -> Iterator[Finding]:
    if photo.focal_35mm is None:
        yield Finding(
            photo.name,
            "no-focal",
            "warning",
            "The file does not say the focal length; it is found from the markers alone.",
            "Use the photograph as the phone saved it, not a copy from a messenger, or give a lens profile.",
        )


def _other_lens(photos: Sequence[Photograph]) -> Iterator[Finding]:
    groups = lens_groups([MarkedPhoto.of(photo, ()) for photo in photos])
    for photo, group in zip(photos, groups, strict=True):
        if group != groups[0]:
            yield Finding(
                photo.name,
                "other-lens",
                "warning",
                "It is of another phone, zoom or picture size than the first photograph.",
                "Take all photographs of a limb with one phone at one zoom, held the same way.",
            )
