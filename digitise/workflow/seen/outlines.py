"""The limb's outlines in the photographs of one visit, and what speaks against any of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from digitise.anatomy import LimbKind
from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.calibration.markers import Detection
from digitise.capture.checks.inspection import Inspection
from digitise.capture.checks.skin import check_limb, skin_tone
from digitise.capture.checks.together import as_findings
from digitise.capture.outline.by_steps.widths import Widths
from digitise.capture.outline.correction import Correction
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField, field_digest
from digitise.capture.surroundings.scene import mat_pages
from digitise.cores import for_each
from digitise.errors import OutlineError, VisitsError
from digitise.geometry.camera import looks_along
from digitise.geometry.rigid import Pose
from digitise.tape.rows import TapeRow
from digitise.workflow.drawn import drawn_on, lines_round, outline_of_width, outline_or_reason
from digitise.workflow.foot import FromAbove
from digitise.workflow.posture.findings import require_skin
from digitise.workflow.posture.lying import Lying, find_lying_axis
from digitise.workflow.posture.outlined import Outlined
from digitise.workflow.seen.again import look_again, tape_may_tell
from digitise.workflow.seen.left_out import clashes_of, inspection_of, useful_outlines
from digitise.workflow.stands import far_findings, feet_on_mat, seen_from_far_side
from digitise.workflow.usable import refuse, require_usable


@dataclass(frozen=True)
class Tried:
    """The outlines of a visit's photographs, or why there is none.

    Attributes
    ----------
    outlines
        One per photograph.
    tape_may_tell
        Whether girths, of which none were known, might tell more of them.
    """

    outlines: tuple[Outline | OutlineError, ...]
    tape_may_tell: bool = False


def tried_outlines(
    photos: Sequence[Photograph],
    calibration: Calibration,
    field: MarkerField,
    axis_from_world: Pose,
    *,
    limb: LimbKind,
    drawn: Mapping[str, Correction],
    tape: Sequence[TapeRow] = (),
    refused: Mapping[int, OutlineError] | None = None,
    lies: bool = False,
) -> Tried:
    """Seek the limb in each photograph, and again where the others, or the tape, tell that it was missed.

    Parameters
    ----------
    photos, calibration, field, axis_from_world, limb, tape
        As of :func:`find_outlines`.
    drawn
        Corrections by photograph: what a person drew is not sought again.
    refused
        Photographs, from 0, that do not count, each with the reason.
    lies
        Whether the limb lies: then each photograph shows another side of it.
    """
    refused = refused or {}

    def first(n: int) -> Outline | OutlineError:
        found = drawn_on(photos[n], drawn)
        return refused.get(n) or outline_or_reason(
            photos[n], n, calibration, field, axis_from_world, found, limb
        )

    def of_width(n: int, widths: Widths) -> Outline | OutlineError:
        return outline_of_width(photos[n], n, calibration, field, axis_from_world, widths, limb)

    tried = for_each(first, range(len(photos)))
    if lies:
        return Tried(tuple(tried))
    free = [n for n, photo in enumerate(photos) if n not in refused and drawn_on(photo, drawn) is None]
    names = [photo.name for photo in photos]
    again = look_again(tried, names, calibration.cameras, axis_from_world, free, of_width, tape)
    open_ = not tape and tape_may_tell(tried, calibration.cameras, axis_from_world)
    return Tried(tuple(again), open_)


def find_outlines(
    photos: tuple[Photograph, ...],
    inspection: Inspection,
    field: MarkerField,
    *,
    limb: LimbKind = LimbKind.LEG,
    axis_from_world: Pose | None = None,
    corrections: Mapping[str, Correction] | None = None,
    detections: Sequence[Sequence[Detection]] = (),
    same_visit: bool = False,
    lying: Lying | None = None,
    tape: tuple[TapeRow, ...] = (),
) -> Outlined:
    """Find the limb in photographs that were inspected; the slow half of a measurement.

    Parameters
    ----------
    photos, inspection, field, limb, axis_from_world, corrections, same_visit, lying
        As for :func:`~digitise.workflow.measure.measure_limb`; heights along an axis that is found are
        settled by :func:`~digitise.workflow.posture.lying.settle`.
    detections
        The markers found in each photograph: with them the skin's colour is compared.
    tape
        Girths: where the photographs do not tell how wide the limb is, they do.

    Raises
    ------
    PhotoError
        The inspection refuses a photograph, or the photographs show two different limbs.
    OutlineError
        A limb cannot be found, or a correction cannot be used.
    """
    calibration = require_usable(inspection)
    axis, drawn = axis_from_world, corrections or {}
    if axis is None and lying is not None:
        lines = lines_round(photos, drawn)
        axis = find_lying_axis(photos, calibration, field, lying.posture, lines)
    axis = axis or Pose.identity()
    far = seen_from_far_side(photos, calibration, field, axis)
    tried = tried_outlines(
        photos,
        calibration,
        field,
        axis,
        limb=limb,
        drawn=drawn,
        tape=tape,
        refused=far,
        lies=lying is not None,
    )
    names = [photo.name for photo in photos]
    cameras = calibration.cameras if lying is None else ()  # a photograph from above is a side then
    along = [n for n, camera in enumerate(cameras) if looks_along(camera, axis)]
    outlines, left_out = useful_outlines(tried.outlines, names, (*along, *far), 2 if lying is None else 3)
    kept = tuple(outlines)
    tones = for_each(
        lambda n: skin_tone(photos[n], detections[n], outlines[n], field) if detections else None, kept
    )
    if lying is not None:
        require_skin(tones, [names[n] for n in kept])
    clashes = [
        replace(clash, first=kept[clash.first], second=kept[clash.second])
        for clash in check_limb(tones, tuple(outlines.values()))
    ]
    if clashes:
        refuse(as_findings((*inspection.clashes, *clashes), names, same_visit=same_visit), VisitsError)
    kept_names = ("", *(names[n] for n in kept))
    told = as_findings(clashes, names, same_visit=same_visit)
    findings = (
        *left_out,
        *far_findings(far),
        *(finding for finding in told if finding.photo in kept_names),
        *clashes_of(inspection, [names[n] for n in along]),
    )
    return Outlined(
        tuple(photos[n] for n in kept),
        tuple(outlines.values()),
        feet_on_mat(inspection_of(inspection, [names[n] for n in kept]), both=bool(far)),
        calibration.only(kept),
        axis,
        field_digest(field),
        findings,
        tuple(FromAbove(photos[n], calibration.cameras[n], mat_pages(calibration, field, n)) for n in along),
        posture=lying.posture if lying else "",
        tape_may_tell=tried.tape_may_tell,
    )
