"""The main job from files to a limb: photographs, field and tape in, everything measured out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from digitise.anatomy import LimbKind, Side
from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.markers import find_markers
from digitise.capture.checks.inspection import Inspection, inspect_photos
from digitise.capture.outline.correction import Correction
from digitise.capture.photo.photograph import read_photo
from digitise.capture.sheets.field import MarkerField
from digitise.cores import for_each
from digitise.errors import ContradictionError, ShapeError
from digitise.geometry.rigid import Pose
from digitise.geometry.view import View
from digitise.output.model.measured import Measured, neutral_name
from digitise.shape.fit import LimbFit, fit_limb
from digitise.shape.lying.straight import with_unsure_start
from digitise.tape.places import check_places
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.workflow.drawn import drawn_bounds, drawn_on
from digitise.workflow.foot import with_foot
from digitise.workflow.hand import arm_alone, hand_photos, read_hands, with_hand
from digitise.workflow.posture.findings import UNCLEAR, lying_findings
from digitise.workflow.posture.lying import Lying, settle
from digitise.workflow.posture.of_hand import of_the_hand, require_arms
from digitise.workflow.posture.outlined import Outlined
from digitise.workflow.seen.asked import as_far_as_seen, down_to_foot
from digitise.workflow.seen.left_out import (
    cure_of,
    hidden_findings,
)
from digitise.workflow.seen.more_photos import more_photos
from digitise.workflow.seen.outlines import find_outlines
from digitise.workflow.stands import axis_beside
from digitise.workflow.usable import require_count

_FOOT_MM = (
    40.0  # up to there a leg's outline is its foot's, of which two photographs from the side tell nothing
)

Progress = Callable[[str], None]
T = TypeVar("T")
R = TypeVar("R")


def measure_limb(
    photo_paths: Sequence[Path],
    field: MarkerField,
    tape: tuple[TapeRow, ...],
    *,
    limb: LimbKind = LimbKind.LEG,
    side: Side = Side.LEFT,
    from_mm: float | None = None,
    to_mm: float | None = None,
    axis_from_world: Pose | None = None,
    profile: LensProfile | None = None,
    corrections: Mapping[str, Correction] | None = None,
    same_visit: bool = False,
    lying: Lying | None = None,
    places: tuple[PlaceGirth, ...] = (),
    hand_paths: Sequence[Path] = (),
    progress: Progress | None = None,
) -> Measured:
    """Measure a limb from two or more photographs and tape girths.

    Parameters
    ----------
    photo_paths
        Two to twelve photographs of one visit.
    field
        The sheets in them.
    tape
        Girths; may be empty, then the photographs alone decide.
    limb, side
        ``leg`` or ``arm``; ``left`` or ``right``.
    from_mm, to_mm
        Heights to report between; without them a line drawn round the limb decides, or else the evidence.
    axis_from_world
        Frame of the limb's axis; without it the limb stands on the mat, in its middle or, both feet on it,
        beside.
    profile
        The phone's lens profile, if there is one.
    corrections
        Drawn corrections by photograph: by its file name or by its sha256.
    same_visit
        The caller answers for it that all photographs are of one visit, whatever speaks against it.
    lying
        How the limb lies, where it does not stand; without an axis given, it is then found.
    places
        Girths taped on foot or hand; they are handed on beside the limb.  Only a hand that is measured from
        photographs follows those round palm and wrist.
    hand_paths
        Photographs of the hand, palm down on the mat: one from above, and a low one from beside if there is
        one.  Of a lying arm's photographs those that show the mat alone are of the hand as well.
    progress
        Called with a few plain words before each step.

    Raises
    ------
    DigitiseError
        The subclass tells which input cannot be used; the message where, why and what to do.
    """
    require_count(photo_paths)
    if lying is not None:
        lying.require(limb)
    check_places(places, limb)
    tell: Progress = progress or _silent
    tell("Reading photographs")
    photos = for_each(read_photo, photo_paths)
    tell("Finding markers")
    detections = for_each(lambda photo: find_markers(photo, field), photos)
    given = read_hands(hand_paths, field)
    photos, detections = (*photos, *given.photos), (*detections, *given.detections)
    tell("Solving cameras")

    def inspect(some: Sequence[int]) -> Inspection:
        chosen = [photos[n] for n in some], [detections[n] for n in some]
        return inspect_photos(*chosen, field, profile, same_visit=same_visit, lying=lying is not None)

    inspection = inspect(range(len(photos)))
    told = of_the_hand(detections, field, None if lying is None else lying.posture)
    require_arms([path.name for path in photo_paths], [n for n in told if n < len(photo_paths)])
    hands = sorted({*told, *range(len(photo_paths), len(photos))})
    arms = [n for n in range(len(photos)) if n not in hands]
    tell("Finding outlines")
    if limb == LimbKind.LEG and lying is None and axis_from_world is None:
        axis_from_world = axis_beside(photos, inspection.calibration, field, side)
    sighted = find_outlines(
        tuple(photos[n] for n in arms),
        arm_alone(inspection, arms, lambda: inspect(arms)) if hands else inspection,
        field,
        limb=limb,
        axis_from_world=axis_from_world,
        corrections=corrections,
        detections=[detections[n] for n in arms],
        same_visit=same_visit,
        lying=lying,
        tape=tape,
    )
    tell("Solving the limb")
    if lying is not None and axis_from_world is None:
        sighted = settle(sighted, photos, lying, limb=limb, side=side, from_mm=from_mm, to_mm=to_mm)
    drawn = [drawn_on(photo, corrections or {}) for photo in sighted.photos]
    low, high = drawn_bounds(sighted.outlines, drawn) or (None, None)
    measured = fit_outlines(
        sighted,
        tape,
        limb=limb,
        side=side,
        from_mm=low if from_mm is None else from_mm,
        to_mm=high if to_mm is None else to_mm,
    )
    measured = replace(measured, places=places)
    if sighted.above:
        tell("Solving the foot")
        measured = with_foot(measured, sighted.photos, sighted.above)
    if hands or given.trouble:
        tell("Solving the hand")
        return with_hand(measured, lambda: hand_photos(photos, inspection, field, hands), given.trouble)
    return measured


def fit_outlines(
    sighted: Outlined,
    tape: tuple[TapeRow, ...],
    *,
    limb: LimbKind = LimbKind.LEG,
    side: Side = Side.LEFT,
    from_mm: float | None = None,
    to_mm: float | None = None,
) -> Measured:
    """Solve the limb from found outlines and tape; done again alone when only the tape has changed.

    Raises
    ------
    ShapeError
        The outlines do not determine a limb between the wanted heights.
    """
    # warnings are passed on with the results, so they name the photographs neutrally; errors do not
    given = {neutral_name(n, photo.name): photo.name for n, photo in enumerate(sighted.photos, start=1)}
    seen = zip(given, sighted.calibration.cameras, sighted.outlines, strict=True)
    lowest = _FOOT_MM if limb == LimbKind.LEG and not sighted.posture else -np.inf
    views = tuple(View(name, camera, outline.edges_above(lowest)) for name, camera, outline in seen)

    def solve(low: float | None, high: float | None) -> LimbFit:
        return fit_limb(
            views,
            tape,
            limb=limb,
            side=side,
            axis_from_world=sighted.axis_from_world,
            from_mm=low,
            to_mm=high,
            camera_modes=sighted.calibration.camera_modes,
            lying=sighted.posture,
        )

    try:
        fit, unseen = as_far_as_seen(solve, from_mm, to_mm, sighted.outlines)
    except ShapeError as error:
        where = ", ".join(given.get(name, name) for name in error.where.split(", "))
        cure = cure_of(sighted.outlines, from_mm, to_mm)
        if sighted.posture and isinstance(error, ContradictionError):
            cure = UNCLEAR
        raise ShapeError(error.what, where=where, do=cure or error.do) from error
    if sighted.above and from_mm is None:
        fit = down_to_foot(fit, lambda low: solve(low, None if to_mm is None else fit.limb.to_mm))
    told = (*sighted.inspection.findings, *sighted.findings, *unseen)
    told += hidden_findings(sighted.outlines, fit.limb.from_mm, fit.limb.to_mm)
    told += more_photos(fit.limb, sighted.calibration.cameras, sighted.outlines)
    if sighted.posture:
        lain = replace(fit.limb, counted_from=sighted.counted_from)
        fit = replace(fit, limb=with_unsure_start(lain, sighted.start_sd_mm))
        told += lying_findings(sighted.outlines, fit.limb)
    return Measured(
        photos=sighted.photos,
        calibration=sighted.calibration,
        outlines=sighted.outlines,
        fit=fit,
        tape=tape,
        findings=told,
        facts=sighted.inspection.photos,
        axis_from_world=sighted.axis_from_world,
        field_sha256=sighted.field_sha256,
        landmark=sighted.landmark,
    )


def _silent(_step: str) -> None:
    pass
