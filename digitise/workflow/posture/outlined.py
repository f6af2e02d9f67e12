"""Photographs with solved cameras and found outlines: what the limb is solved from, but for the tape."""

from __future__ import annotations

from dataclasses import dataclass

from digitise.anatomy import CountedFrom
from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.geometry.rigid import Pose
from digitise.shape.lying.straight import TAP_SD_MM
from digitise.workflow.foot import FromAbove


@dataclass(frozen=True)
class Outlined:
    """Photographs whose cameras are solved and whose outlines are found: all that the limb needs but tape.

    Attributes
    ----------
    photos, outlines
        In the same order.
    inspection, calibration
        Of the photographs.
    axis_from_world
        Frame of the limb's axis.
    field_sha256
        Digest of the sheets' content.
    findings
        What the outlines told beyond the inspection.
    above
        Photographs taken along the limb, such as from above the foot, with their cameras; they show none of
        its sides.
    posture
        How a lying limb lies; empty for others.
    landmark
        Photograph, from 0 among these, and pixels of the place from which its heights count.
    counted_from
        Which place that is; None where it was not said.
    start_sd_mm
        How well that place is known along the limb, one sd.
    tape_may_tell
        Whether outlines were found without girths that might tell more of them.
    """

    photos: tuple[Photograph, ...]
    outlines: tuple[Outline, ...]
    inspection: Inspection
    calibration: Calibration
    axis_from_world: Pose
    field_sha256: str | None = None
    findings: tuple[Finding, ...] = ()
    above: tuple[FromAbove, ...] = ()
    posture: str = ""
    landmark: tuple[int, float, float] | None = None
    counted_from: CountedFrom | None = None
    start_sd_mm: float = TAP_SD_MM
    tape_may_tell: bool = False
