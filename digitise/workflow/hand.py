"""A hand that lies flat on the mat, from a photograph from above, a low one if there is one, and tape."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from digitise.anatomy import CountedFrom, LimbKind, Side, counts_alike
from digitise.capture.calibration.markers import Detection, find_markers
from digitise.capture.checks.finding import Finding
from digitise.capture.checks.inspection import Inspection
from digitise.capture.expected.lying_hand import Lies, find_lying_hand
from digitise.capture.expected.outline import BodyOutline, Look, find_body
from digitise.capture.expected.print_lines import print_of
from digitise.capture.photo.photograph import Photograph, read_photo
from digitise.capture.sheets.field import Board, MarkerField
from digitise.capture.surroundings.scene import mat_pages
from digitise.errors import DigitiseError, OutlineError, PhotoError, ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured, MeasuredEnd
from digitise.shape.hand.figures import taped
from digitise.shape.hand.forearm import forearm_beyond
from digitise.shape.hand.join import girth_of_arm, join_hand, require_as_thick, require_at_wrist
from digitise.shape.hand.prior import WRIST, outline_of_hand, usual_hand
from digitise.shape.limb import Limb
from digitise.shape.statistical.planes import TangentPlanes, planes_of_view, together
from digitise.shape.statistical.solve import KnownGirth, ShapeBelief, solve_shape
from digitise.shape.statistical.surface import PlacedShape

# Where the outline is sought: round the usual hand laid over it, then round what that told.
_PASSES = (Look(22.0, 1.6, gap_mm=0.8, limb_mm=80.0), Look(9.0, 0.9, gap_mm=0.8, limb_mm=80.0))
_FROM_ABOVE_DEG = 35.0  # off the vertical at most
_LEAST_POINTS = 80
# A bare hand's outline lies so near to one that the usual hand can be bent to: half of it, and most of it.
# Of rendered hands half lay within 0.4 mm of it and all but a twentieth within 1.8 mm; where ink in a shadow
# was taken for skin, 0.4 and 2.4 mm or more.
_MOST_MISFIT_MM, _MOST_OFF_MM = 0.7, 2.1
# As seldom may a point of the outline be near no edge of that hand.
_MOST_ASTRAY = 0.08
_BEFORE_WRIST_MM = 15.0
# A hand of the other side, or with its palm up, agrees better by this when laid over what is seen.
_OTHER_BETTER = 0.03
# Where skin is hardly told from paper, neither agrees well and chance decides between them: it takes more
# then, and the outline decides (ours; a pale hand in too much light agreed by 0.69, its mirror by 0.72).
_CLEAR_ALIKE, _UNCLEAR_SHARE = 0.85, 0.3


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
class HandSight:
    """Photographs of a hand as they were given, and the markers found in each.

    Attributes
    ----------
    photos, detections
        In the same order; empty where one of them cannot be used.
    trouble
        Why not.
    """

    photos: tuple[Photograph, ...] = ()
    detections: tuple[tuple[Detection, ...], ...] = ()
    trouble: PhotoError | None = None


def read_hands(paths: Sequence[Path], field: MarkerField) -> HandSight:
    """Read photographs of a hand; one that cannot be used is no reason to give up the arm."""
    try:
        photos = tuple(read_photo(path) for path in paths)
        return HandSight(photos, tuple(find_markers(photo, field) for photo in photos))
    except PhotoError as error:
        return HandSight(trouble=error)


def arm_alone(inspection: Inspection, arms: Sequence[int], again: Callable[[], Inspection]) -> Inspection:
    """Return what was said of the arm's photographs (from 0), without those of its hand.

    Where the hand's leave the cameras unsolved, the arm's are inspected ``again`` by themselves.
    """
    return again() if inspection.calibration is None else inspection.only(arms)


def hand_photos(
    photos: Sequence[Photograph], inspection: Inspection, field: MarkerField, numbers: Sequence[int]
) -> tuple[HandPhoto, ...]:
    """Return the photographs ``numbers`` (from 0) of a visit, with their cameras.

    Raises
    ------
    PhotoError
        One of them cannot be used, or is of another visit.
    """
    names = {photos[n].name for n in numbers}
    for finding in inspection.findings:
        if finding.severity == "refuse" and finding.photo in names:
            raise PhotoError(finding.text, where=finding.photo, do=finding.do)
    calibration = inspection.calibration
    if calibration is None:
        raise PhotoError("its camera cannot be solved.", do="Take the photograph of the hand again.")
    return tuple(
        HandPhoto(photos[n], calibration.cameras[n], mat_pages(calibration, field, n)) for n in numbers
    )


def with_hand(
    measured: Measured, find: Callable[[], tuple[HandPhoto, ...]], trouble: PhotoError | None = None
) -> Measured:
    """Add the hand to a measured arm; where it cannot be measured, the reason.

    Parameters
    ----------
    measured
        The arm, its heights counted from the wrist crease.
    find
        Gives the photographs of the hand (:func:`hand_photos`), with their pixels.
    trouble
        Why they cannot be used at all.
    """
    limb = measured.fit.limb
    try:
        if trouble is not None:
            raise trouble
        wrist = counts_alike(limb.counted_from, CountedFrom.WRIST_CREASE)
        if limb.kind != LimbKind.ARM or not limb.lying or measured.landmark is None or not wrist:
            raise ShapeError(
                "a hand is joined to an arm that lies, its heights counted from the wrist crease.",
                do="Lay the arm down, give --lying and the wrist crease as --landmark.",
            )
        require_at_wrist(limb, 0.0)
        seen = find()
        hand = measure_hand(seen, limb.side, {row.place: row.girth_mm for row in measured.places}, limb)
    except DigitiseError as error:
        told = Finding("", "hand-left-out", "warning", f"The hand was not measured: {error.what}", error.do)
        return replace(measured, findings=(*measured.findings, told))
    part = join_hand(hand.belief, limb, 0.0)
    photos, cameras = tuple(each.photo for each in seen), tuple(each.camera for each in seen)
    return replace(measured, end=MeasuredEnd(part, photos, cameras, hand.outlines))


def measure_hand(
    seen: Sequence[HandPhoto], side: Side, girths: Mapping[str, float], arm: Limb | None = None
) -> SolvedHand:
    """Find a hand that lies on the mat in its photographs and solve its shape.

    Parameters
    ----------
    seen
        Photographs of the hand as it lies, at least one of them from above.
    side
        ``left`` or ``right``.
    girths
        Taped round the hand, mm, by the place's name.
    arm
        The arm that it belongs to, its heights counted from the wrist crease.

    Raises
    ------
    OutlineError
        No photograph is from above, the hand is not seen well enough, or what is seen is not a bare hand of
        this side, palm down.
    ShapeError
        The hand's shape does not settle, or the arm is far thicker or thinner than the hand where it begins.
    """
    first = _from_above(seen)
    start = _start(seen[first], side)
    belief, outlines, planes = _solve(seen, start, taped(girths))
    for number, each in enumerate(seen):
        _require_seen(outlines.get(number), each.photo)
        _require_bare(belief, planes, number, each.photo)
    if arm is not None:
        # by itself first: drawn to an arm of another person, it would agree with it better
        require_as_thick(belief, arm, 0.0)
        known = (*taped(girths), girth_of_arm(arm, 0.0))
        belief = solve_shape(belief.surface, planes, near=True, reach=outline_of_hand, girths=known)
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


def _start(seen: HandPhoto, side: Side) -> PlacedShape:
    own, other = (_lies(seen, each) for each in (side, side.other))
    unclear = max(0.0, _CLEAR_ALIKE - other.alike)
    if other.alike > own.alike + _OTHER_BETTER + _UNCLEAR_SHARE * unclear:
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


def _lies(seen: HandPhoto, side: Side) -> Lies:
    prior = usual_hand(side)
    usual = Mesh(prior.mean, prior.faces)
    return find_lying_hand(
        seen.photo, seen.camera, seen.boards, usual, prior.mean[WRIST, 1] + _BEFORE_WRIST_MM
    )


def _solve(
    seen: Sequence[HandPhoto], start: PlacedShape, girths: Sequence[KnownGirth]
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
    body, forearm = Mesh(surface.vertices, surface.prior.faces), forearm_beyond(surface)
    tried = [
        find_body(each.photo.pixels, each.camera, body, forearm, look, print_of(each.boards)) for each in seen
    ]
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
    misfit = np.abs(belief.residual[planes.view == number])
    astray = float(np.mean(~np.isfinite(misfit)))
    half, most = np.nanquantile(misfit, [0.5, 0.95])
    if half > _MOST_MISFIT_MM or most > _MOST_OFF_MM or astray > _MOST_ASTRAY:
        raise OutlineError(
            "the photographs do not show one bare hand lying flat in one place on the mat.",
            where=photo.name,
            do="Give photographs of one visit between which the hand did not move; no glove, ring or "
            "bandage, palm and fingers on the mat, in light without a hard shadow beside it.",
        )
