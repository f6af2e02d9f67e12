"""All that one measurement hands to the output."""

from __future__ import annotations

from dataclasses import dataclass

from digitise.capture.finding import Finding
from digitise.capture.inspection import PhotoFacts
from digitise.capture.outline import Outline
from digitise.capture.photo import Photograph
from digitise.capture.poses import Calibration
from digitise.geometry.rigid import Pose
from digitise.shape.fit import LimbFit
from digitise.tape.rows import TapeRow


@dataclass(frozen=True)
class Measured:
    """A measured limb and what it was measured from.

    Attributes
    ----------
    photos, outlines, facts
        One per photograph, in the same order.
    calibration
        The solved cameras, in that order.
    fit
        The limb, its tape check and warnings.
    tape
        All rows as read.
    findings
        Of the photographs.
    axis_from_world
        Frame of the limb's axis; heights are counted along it.
    """

    photos: tuple[Photograph, ...]
    calibration: Calibration
    outlines: tuple[Outline, ...]
    fit: LimbFit
    tape: tuple[TapeRow, ...]
    findings: tuple[Finding, ...]
    facts: tuple[PhotoFacts, ...]
    axis_from_world: Pose
