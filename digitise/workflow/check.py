"""What photographs of a visit would give, before a girth is taped: cameras, outlines, and what is unseen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from digitise.anatomy import LimbKind, Side
from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.markers import Detection
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection, inspect_photos
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.errors import ContradictionError, OutlineError, PhotoError, ShapeError
from digitise.geometry.view import View
from digitise.shape.fit import LimbFit, fit_limb
from digitise.workflow.posture.lying import Posture, limb_that_lies, require_lies
from digitise.workflow.posture.of_hand import of_the_hand, require_arms
from digitise.workflow.posture.outlined import Outlined
from digitise.workflow.seen.left_out import hidden_findings
from digitise.workflow.seen.more_photos import more_photos
from digitise.workflow.seen.outlines import find_outlines
from digitise.workflow.stands import axis_beside


def check_visit(
    photos: Sequence[Photograph],
    detections: Sequence[tuple[Detection, ...]],
    field: MarkerField,
    profile: LensProfile | None = None,
    *,
    limb: LimbKind | None = None,
    side: Side = Side.LEFT,
    lying: Posture | None = None,
) -> Inspection:
    """Check photographs, and of a standing limb its outlines as well.

    Parameters
    ----------
    photos, detections, field, profile
        As for :func:`~digitise.capture.checks.inspection.inspect_photos`.
    limb, side
        Which limb it is; without one a leg, or the limb that lies so.
    lying
        How a limb lies, of which then no outlines are looked for; None for one that stands.

    Raises
    ------
    PhotoError
        When the same photograph is given twice.
    ShapeError
        When the limb cannot lie so.
    """
    if lying is not None:
        require_lies(limb or limb_that_lies(lying), lying)
        inspection = inspect_photos(photos, detections, field, profile, lying=True)
        return replace(inspection, findings=(*inspection.findings, *_arms(photos, detections, field, lying)))
    inspection = inspect_photos(photos, detections, field, profile)
    if inspection.refusals or len(photos) < 2:
        return inspection
    try:
        axis = axis_beside(photos, inspection.calibration, field, side) if limb != LimbKind.ARM else None
        kind = limb or LimbKind.LEG
        sighted = find_outlines(
            tuple(photos), inspection, field, limb=kind, axis_from_world=axis, detections=detections
        )
        told = (*sighted.findings, *_of_limb(sighted, kind, side))
    except (OutlineError, PhotoError, ContradictionError) as error:
        told = (Finding(error.where, "no-outline", "refuse", error.what, error.do),)
    return replace(inspection, findings=(*inspection.findings, *told))


def _arms(
    photos: Sequence[Photograph],
    detections: Sequence[Sequence[Detection]],
    field: MarkerField,
    lying: Posture,
) -> tuple[Finding, ...]:
    """Tell that too few photographs of a visit are of the arm itself, where so."""
    try:
        require_arms([photo.name for photo in photos], of_the_hand(detections, field, lying))
    except PhotoError as error:
        return (Finding(error.where, "no-sheet", "refuse", error.what, error.do),)
    return ()


def _of_limb(sighted: Outlined, limb: LimbKind, side: Side) -> tuple[Finding, ...]:
    """Tell between which heights the limb would be measured, what hides it there, and what would help.

    Raises
    ------
    ContradictionError
        When the outlines cannot be of one limb.
    """
    seen = zip(sighted.photos, sighted.calibration.cameras, sighted.outlines, strict=True)
    views = tuple(View(photo.name, camera, outline.edges) for photo, camera, outline in seen)
    try:
        fit = fit_limb(
            views,
            limb=limb,
            side=side,
            axis_from_world=sighted.axis_from_world,
            camera_modes=sighted.calibration.camera_modes,
            roughly=True,
        )
    except ContradictionError:
        raise
    except ShapeError as error:
        return (Finding(error.where, "not-enough", "warning", error.what, error.do),)
    found = fit.limb
    return (
        _span(fit),
        *_hems(sighted),
        *hidden_findings(sighted.outlines, found.from_mm, found.to_mm),
        *more_photos(found, sighted.calibration.cameras, sighted.outlines, taped=False),
    )


def _span(fit: LimbFit) -> Finding:
    text = f"The {fit.limb.kind} can be measured from {fit.limb.from_mm:.0f} to {fit.limb.to_mm:.0f} mm."
    return Finding("", "span", "note", text)


def _hems(sighted: Outlined) -> tuple[Finding, ...]:
    hems = [outline.hem_mm for outline in sighted.outlines if outline.hem_mm is not None]
    if not hems:
        return ()
    text = f"Cloth covers the limb from {min(hems):.0f} mm upwards; more cannot be measured."
    return (Finding("", "cloth", "note", text, "Roll it up if you need more."),)
