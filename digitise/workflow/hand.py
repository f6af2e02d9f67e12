"""A hand that lies flat on the mat, from a photograph from above, a low one if there is one, and tape."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from digitise.capture.calibration.lens import LensProfile
from digitise.capture.calibration.markers import Detection, find_markers
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import inspect_photos
from digitise.capture.expected.lying_hand import Lies, find_lying_hand
from digitise.capture.expected.outline import BodyOutline, Look, find_body
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import Board, MarkerField
from digitise.capture.surroundings.scene import placed_boards
from digitise.errors import DigitiseError, OutlineError, PhotoError, ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured, MeasuredEnd
from digitise.shape.hand.figures import taped
from digitise.shape.hand.forearm import forearm_beyond
from digitise.shape.hand.join import join_hand, require_at_wrist
from digitise.shape.hand.prior import WRIST, outline_of_hand, usual_hand
from digitise.shape.statistical.planes import TangentPlanes, planes_of_view, together
from digitise.shape.statistical.solve import ShapeBelief, TapedGirth, solve_shape
from digitise.shape.statistical.surface import PlacedShape

# Where the outline is sought: round the usual hand laid over it, then round what that told.
_PASSES = (Look(22.0, 1.6, gap_mm=0.8, limb_mm=80.0), Look(9.0, 0.9, gap_mm=0.8, limb_mm=80.0))
_FROM_ABOVE_DEG = 35.0  # off the vertical at most
_LEAST_POINTS = 80
# A bare hand's outline lies within half of this of one that the usual hand can be bent to.
_MOST_MISFIT_MM = 1.6
_BEFORE_WRIST_MM = 15.0
# A hand of the other side, or with its palm up, agrees better by this when laid over what is seen.
_OTHER_BETTER = 0.03


@dataclass(frozen=True, eq=False)
class HandPhoto:
    """A photograph of a hand on the mat.

    Attributes
    ----------
    photo, camera
        The photograph and its solved camera.
    boards
        The sheets of the mat as they lie in it, with their poses world_from_board.
    """

    photo: Photograph
    camera: Camera
    boards: tuple[tuple[Board, Pose], ...]


@dataclass(frozen=True, eq=False)
class SolvedHand:
    """A hand as its photographs tell it.

    Attributes
    ----------
    belief
        Its shape on the mat.
    outlines
        What was found in each photograph.
    """

    belief: ShapeBelief
    outlines: tuple[BodyOutline, ...]


@dataclass(frozen=True, eq=False)
class HandVisit:
    """What a hand is measured with, besides the arm.

    Attributes
    ----------
    hands
        Photographs of the hand on the mat.
    arms, detections
        The visit's other photographs, and the markers found in each: they tell of the lens.
    field, profile
        The sheets, and the phone's lens profile, if there is one.
    same_visit
        The caller answers for it that all photographs are of one visit.
    """

    hands: tuple[Photograph, ...]
    arms: tuple[Photograph, ...]
    detections: tuple[tuple[Detection, ...], ...]
    field: MarkerField
    profile: LensProfile | None = None
    same_visit: bool = False


def with_hand(measured: Measured, visit: HandVisit) -> Measured:
    """Add the hand to a measured arm; where it cannot be measured, the reason.

    Parameters
    ----------
    measured
        The arm, its heights counted from the wrist crease.
    visit
        Photographs of the hand, and what they need.
    """
    limb = measured.fit.limb
    try:
        if limb.kind != "arm" or not limb.lying or measured.landmark is None:
            raise ShapeError(
                "a hand is joined to an arm that lies, its heights counted from the wrist crease.",
                do="Lay the arm down, give --lying and the wrist crease as --landmark.",
            )
        require_at_wrist(limb, 0.0)
        seen = _calibrated(visit)
        girths = {row.place: row.girth_mm for row in measured.places}
        hand = measure_hand(seen, limb.side, girths)
    except DigitiseError as error:
        told = Finding("", "hand-left-out", "warning", f"The hand was not measured: {error.what}", error.do)
        return replace(measured, findings=(*measured.findings, told))
    part = join_hand(hand.belief, limb, 0.0)
    cameras = tuple(each.camera for each in seen)
    return replace(measured, end=MeasuredEnd(part, visit.hands, cameras, hand.outlines))


def _calibrated(visit: HandVisit) -> tuple[HandPhoto, ...]:
    """Return the photographs of the hand with their cameras, solved together with the arm's.

    Raises
    ------
    PhotoError
        One of them cannot be used, or is of another visit.
    """
    photos = (*visit.arms, *visit.hands)
    found = (*visit.detections, *(find_markers(photo, visit.field) for photo in visit.hands))
    inspection = inspect_photos(
        photos, found, visit.field, visit.profile, same_visit=visit.same_visit, lying=True
    )
    calibration, names = inspection.calibration, {photo.name for photo in visit.hands}
    for finding in inspection.findings:
        if finding.severity == "refuse" and (finding.photo in names or calibration is None):
            raise PhotoError(finding.text, where=finding.photo, do=finding.do)
    if calibration is None:
        raise PhotoError("its camera cannot be solved.", do="Take the photograph of the hand again.")
    first = len(visit.arms)
    return tuple(
        HandPhoto(
            photo,
            calibration.cameras[n],
            tuple(each for each in placed_boards(calibration, visit.field, n) if each[0].role == "mat"),
        )
        for n, photo in enumerate(visit.hands, start=first)
    )


def measure_hand(seen: Sequence[HandPhoto], side: str, girths: Mapping[str, float]) -> SolvedHand:
    """Find a hand that lies on the mat in its photographs and solve its shape.

    Parameters
    ----------
    seen
        Photographs of the hand as it lies, at least one of them from above.
    side
        ``left`` or ``right``.
    girths
        Taped round the hand, mm, by the place's name.

    Raises
    ------
    OutlineError
        No photograph is from above, the hand is not seen well enough, or what is seen is not a bare hand of
        this side, palm down.
    ShapeError
        The hand's shape does not settle.
    """
    first = _from_above(seen)
    start = _start(seen[first], side)
    belief, outlines, planes = _solve(seen, start, taped(girths))
    for number, each in enumerate(seen):
        _require_seen(outlines.get(number), each.photo)
        _require_bare(belief, planes, number, each.photo)
    return SolvedHand(belief, tuple(outlines[number] for number in range(len(seen))))


def _from_above(seen: Sequence[HandPhoto]) -> int:
    """Return the number of the photograph that looks down most steeply."""
    steep = [-float(each.camera.camera_from_world.rotation[2, 2]) for each in seen]
    first = int(np.argmax(steep))
    if steep[first] < np.cos(np.radians(_FROM_ABOVE_DEG)):
        raise OutlineError(
            "no photograph shows the hand from above.",
            where=", ".join(each.photo.name for each in seen),
            do="Take one with the phone level, at arm's length above the hand.",
        )
    return first


def _start(seen: HandPhoto, side: str) -> PlacedShape:
    own, other = (_lies(seen, each) for each in (side, "right" if side == "left" else "left"))
    if other.alike > own.alike + _OTHER_BETTER:
        raise OutlineError(
            f"it looks like the other hand, or the palm is up; the arm is called a {side} one.",
            where=seen.photo.name,
            do="Lay the hand with its palm on the mat, and check which side was photographed.",
        )
    prior = usual_hand(side)
    # the size by as much of every difference as makes the usual hand so large
    flat = prior.modes.reshape(len(prior.modes), -1)
    modes = flat @ ((own.size - 1.0) * prior.mean.ravel()) / np.sum(flat**2, axis=1)
    return PlacedShape(prior, np.concatenate([modes, [own.x, own.y, own.turn]]))


def _lies(seen: HandPhoto, side: str) -> Lies:
    prior = usual_hand(side)
    usual = Mesh(prior.mean, prior.faces)
    return find_lying_hand(
        seen.photo, seen.camera, seen.boards, usual, prior.mean[WRIST, 1] + _BEFORE_WRIST_MM
    )


def _solve(
    seen: Sequence[HandPhoto], start: PlacedShape, girths: Sequence[TapedGirth]
) -> tuple[ShapeBelief, dict[int, BodyOutline], TangentPlanes]:
    """Return the hand, its outlines by photograph, and the planes that the last solve touched."""
    coarse, fine = _PASSES
    _, planes = _sought(seen, start, coarse)
    surface = solve_shape(start, planes, reach=outline_of_hand, girths=girths).surface
    outlines, planes = _sought(seen, surface, fine)
    belief = solve_shape(surface, planes, near=True, reach=outline_of_hand, girths=girths)
    return belief, outlines, planes


def _sought(
    seen: Sequence[HandPhoto], surface: PlacedShape, look: Look
) -> tuple[dict[int, BodyOutline], TangentPlanes]:
    """Return the outlines found near to an expected hand, by photograph, and their planes."""
    body, forearm = Mesh(surface.vertices(), surface.prior.faces), forearm_beyond(surface)
    tried = [find_body(each.photo.pixels, each.camera, body, forearm, look) for each in seen]
    outlines = {n: found for n, found in enumerate(tried) if found is not None}
    planes = [planes_of_view(seen[n].camera, found.edge, n) for n, found in outlines.items()]
    if not planes:
        _require_seen(None, seen[0].photo)
    return outlines, together(planes)


def _require_seen(outline: BodyOutline | None, photo: Photograph) -> None:
    if outline is None or np.count_nonzero(outline.edge.seen) < _LEAST_POINTS:
        raise OutlineError(
            "too little of the hand's edge is seen in it.",
            where=photo.name,
            do="Take that photograph again: the whole hand and the mat round it in the picture.",
        )


def _require_bare(belief: ShapeBelief, planes: TangentPlanes, number: int, photo: Photograph) -> None:
    misfit = belief.residual[planes.view == number]
    misfit = misfit[np.isfinite(misfit)]
    if len(misfit) and float(np.median(np.abs(misfit))) > _MOST_MISFIT_MM:
        raise OutlineError(
            "the photographs do not show one bare hand lying flat in one place on the mat.",
            where=photo.name,
            do="Give photographs of one visit between which the hand did not move; no glove, ring or "
            "bandage, palm and fingers on the mat.",
        )
