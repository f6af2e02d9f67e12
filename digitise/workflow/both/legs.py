"""Both legs measured from one set of photographs: each from the front and from its own side."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from digitise.anatomy import LimbKind, Side
from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.markers import find_markers
from digitise.capture.checks.inspection import inspect_photos
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import MarkerField
from digitise.cores import for_each
from digitise.errors import DigitiseError, OutlineError, ShapeError
from digitise.output.model.measured import Measured
from digitise.tape.places import check_places
from digitise.tape.rows import TapeTable
from digitise.workflow.foot import with_foot
from digitise.workflow.measure import fit_outlines
from digitise.workflow.posture.outlined import Outlined
from digitise.workflow.seen.outlines import find_outlines
from digitise.workflow.stands import both_stands, stand_axis
from digitise.workflow.usable import require_count, require_usable


@dataclass(frozen=True)
class BothLegs:
    """Both legs of one visit.

    Attributes
    ----------
    measured
        By side; heights of both count from the mat.
    trouble
        By side, why a leg could not be measured; never of both.
    """

    measured: Mapping[Side, Measured]
    trouble: Mapping[Side, DigitiseError]


def measure_both_legs(
    photo_paths: Sequence[Path],
    field: MarkerField,
    tapes: Mapping[Side, TapeTable],
    *,
    from_mm: float | None = None,
    to_mm: float | None = None,
    profile: LensProfile | None = None,
    same_visit: bool = False,
    progress: Callable[[str], None] = lambda _step: None,
) -> BothLegs:
    """Measure both legs of a person who stands with both feet on one mat.

    Parameters
    ----------
    photo_paths
        Three to twelve photographs of one visit: from the front, from the left and from the right; one from
        above shows both feet.
    field
        The sheets in them.
    tapes
        Girths of either leg.
    from_mm, to_mm, profile, same_visit, progress
        As for :func:`~digitise.workflow.measure.measure_limb`.

    Raises
    ------
    DigitiseError
        Neither leg can be measured; the message tells what, where and what to do.
    """
    require_count(photo_paths)
    for table in tapes.values():
        check_places(table.places, LimbKind.LEG)
    progress("Reading photographs")
    photos = for_each(read_photo, photo_paths)
    progress("Finding markers")
    detections = for_each(lambda photo: find_markers(photo, field), photos)
    progress("Solving cameras")
    inspection = inspect_photos(photos, detections, field, profile, same_visit=same_visit)
    calibration = require_usable(inspection)
    progress("Finding both feet")
    stands = both_stands(photos, calibration, field)

    def outline(side: Side) -> Outlined:
        return find_outlines(
            photos,
            inspection,
            field,
            axis_from_world=stand_axis(stands, side),
            detections=detections,
            same_visit=same_visit,
            tape=tapes[side].rows,
        )

    measured: dict[Side, Measured] = {}
    trouble: dict[Side, DigitiseError] = {}
    for side in Side:
        progress(f"Measuring the {side} leg")
        try:
            measured[side] = _fit(outline(side), tapes[side], side, from_mm, to_mm)
        except (OutlineError, ShapeError) as error:
            trouble[side] = type(error)(f"The {side} leg: {error.what}", where=error.where, do=error.do)
    if not measured:
        raise trouble[Side.LEFT]
    return BothLegs(measured, trouble)


def _fit(
    sighted: Outlined, tape: TapeTable, side: Side, from_mm: float | None, to_mm: float | None
) -> Measured:
    """Solve a leg, and its foot where a photograph from above shows it."""
    measured = fit_outlines(sighted, tape.rows, side=side, from_mm=from_mm, to_mm=to_mm)
    measured = replace(measured, places=tape.places)
    return with_foot(measured, sighted.photos, sighted.above) if sighted.above else measured
