"""Look at photographs of one visit: solve their cameras if that can be done, and list what was found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitise.capture.calibration.calibrate import Calibration, calibrate
from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.markers import Detection
from digitise.capture.calibration.observations import MarkedPhoto
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.photos import check_photos
from digitise.capture.checks.together import Clash, as_findings, check_together
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.errors import LensError, PoseError


@dataclass(frozen=True)
class PhotoFacts:
    """Figures of one photograph; None where the cameras could not be solved.

    Attributes
    ----------
    file
        File name.
    markers
        How many markers were found on each board that shows any.
    rms_px
        Distance of the markers from where the solution puts them, px.
    distance_mm
        From the camera to the vertical through the mat's origin.
    focal_px
        Focal length, px.
    """

    file: str
    markers: dict[str, int]
    rms_px: float | None = None
    distance_mm: float | None = None
    focal_px: float | None = None


@dataclass(frozen=True)
class Inspection:
    """What can be said of the photographs.

    Attributes
    ----------
    photos
        One per photograph.
    findings
        Of each photograph and of all together.
    calibration
        The solved cameras, None when they could not be solved (a finding says why).
    clashes
        What photographs differ in that those of one visit should share.
    """

    photos: tuple[PhotoFacts, ...]
    findings: tuple[Finding, ...]
    calibration: Calibration | None
    clashes: tuple[Clash, ...] = ()

    def only(self, kept: Sequence[int]) -> Inspection:
        """Return what was said of the photographs ``kept`` (from 0), and of all together."""
        names = [self.photos[n].file for n in kept]
        findings = tuple(finding for finding in self.findings if finding.photo in ("", *names))
        clashes = tuple(
            replace(clash, first=kept.index(clash.first), second=kept.index(clash.second))
            for clash in self.clashes
            if clash.first in kept and clash.second in kept
        )
        calibration = None if self.calibration is None else self.calibration.only(tuple(kept))
        return Inspection(tuple(self.photos[n] for n in kept), findings, calibration, clashes)

    @property
    def refusals(self) -> tuple[Finding, ...]:
        """Findings for which the photographs cannot be used."""
        return tuple(finding for finding in self.findings if finding.severity == "refuse")


def inspect_photos(
    photos: Sequence[Photograph],
    detections: Sequence[tuple[Detection, ...]],
    field: MarkerField,
    profile: LensProfile | None = None,
    *,
    same_visit: bool = False,
    lying: bool = False,
) -> Inspection:
    """Check photographs; cameras that cannot be solved become a finding beside the others.

    Parameters
    ----------
    photos, detections
        Photographs of one visit, and the markers found in each.
    field
        The sheets in them.
    profile
        A lens profile, if there is one.
    same_visit
        The caller answers for it that all photographs are of one visit.
    lying
        Whether the limb lies: then nothing is said of a place where it would stand.

    Raises
    ------
    PhotoError
        When the same photograph is given twice.
    """
    calibration: Calibration | None = None
    trouble: tuple[Finding, ...] = ()
    marked = [MarkedPhoto.of(photo, found) for photo, found in zip(photos, detections, strict=True)]
    try:
        calibration = calibrate(marked, field, profile)
    except (PoseError, LensError) as error:
        trouble = (Finding(error.where, "no-cameras", "refuse", error.what, error.do),)
    findings = (*check_photos(photos, detections, calibration, field, lying=lying), *trouble)
    clashes = () if calibration is None else check_together(photos, calibration, field, lying=lying)
    findings += as_findings(clashes, [photo.name for photo in photos], same_visit=same_visit)
    facts = tuple(_facts(n, photo, field, calibration) for n, photo in enumerate(marked))
    return Inspection(facts, findings, calibration, clashes)


def _facts(n: int, photo: MarkedPhoto, field: MarkerField, calibration: Calibration | None) -> PhotoFacts:
    counts = {board.name: sum(d.id in board.ids for d in photo.detections) for board in field.boards}
    markers = {name: count for name, count in counts.items() if count}
    if calibration is None:
        return PhotoFacts(photo.name, markers)
    camera = calibration.cameras[n]
    distance = float(np.linalg.norm(camera.centre[:2]))
    return PhotoFacts(photo.name, markers, calibration.rms_px[n], distance, camera.lens.focal_px)
