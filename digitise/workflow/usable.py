"""Whether photographs can be used at all: how many, and what their inspection refuses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection
from digitise.errors import PhotoError

MOST_PHOTOS = 12


def require_count(photo_paths: Sequence[Path]) -> None:
    """Refuse fewer than two photographs, or too many."""
    if not 2 <= len(photo_paths) <= MOST_PHOTOS:
        raise PhotoError(
            f"A limb needs 2 to {MOST_PHOTOS} photographs, but {len(photo_paths)} were given.",
            do="Give two photographs taken about a quarter turn apart.",
        )


def require_usable(inspection: Inspection) -> Calibration:
    """Return the solved cameras; refuse what the inspection refuses."""
    refuse(inspection.findings)
    if inspection.calibration is None:
        raise PhotoError("The photographs' cameras cannot be solved.", do="Take the photographs again.")
    return inspection.calibration


def refuse(findings: Iterable[Finding], kind: type[PhotoError] = PhotoError) -> None:
    """Raise the first finding for which a photograph cannot be used, as an error of that kind."""
    first = next((finding for finding in findings if finding.severity == "refuse"), None)
    if first is not None:
        raise kind(first.text, where=first.photo, do=first.do)
