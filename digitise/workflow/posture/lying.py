"""A limb that lies: its axis found from the photographs, its heights counted from a place a person taps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from digitise.anatomy import CountedFrom, LimbKind, Side
from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.lying.axis import find_axis
from digitise.capture.lying.silhouette import drawn_silhouette, find_silhouette
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.capture.surroundings.scene import placed_boards
from digitise.errors import OutlineError, PhotoError, ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.view import View
from digitise.shape.fit import fit_limb
from digitise.shape.limb import Limb
from digitise.shape.lying.straight import Place, bend, height_of, shifted, straight_axis
from digitise.workflow.posture.findings import UNCLEAR, bend_findings, sleeve, start_findings
from digitise.workflow.posture.heights import counted_along
from digitise.workflow.posture.outlined import Outlined

Posture = Literal["palm-down", "palm-up", "on-back"]

_ENOUGH_DEG = 0.05
_ROUNDS = 3
# Two photographs do not see how flat a section is between their directions, and nothing else tells it of an
# arm: exact outlines of 24 arms then gave volumes up to 11 % off, three 1.1 % (tests/lying_study.py).
LEAST_PHOTOS = 3
_LEAST_APART_DEG = 20.0


@dataclass(frozen=True)
class Landmark:
    """A place on the skin that a person tapped in a photograph: its number from 0, and pixels (x, y).

    ``place`` says which one it is; None where nobody said.
    """

    photo: int
    at: tuple[float, float]
    place: CountedFrom | None = None


@dataclass(frozen=True)
class Lying:
    """How a limb lies, and from which place on it heights are counted.

    Attributes
    ----------
    posture
        An arm with its palm down or up, or a leg of a person on the back.
    landmark
        The place.
    """

    posture: Posture
    landmark: Landmark

    def require(self, limb: LimbKind) -> None:
        """Check that a limb can lie so.

        Raises
        ------
        ShapeError
            An arm is said to lie on its back, a leg on its palm, or the landmark is none of that limb.
        """
        require_lies(limb, self.posture)
        place = self.landmark.place
        if place is not None and place.limb != limb:
            raise ShapeError(
                f"Heights along the {limb} cannot count from {place}.",
                do="Say wrist-crease or elbow-tip for an arm, ankle-bone or kneecap for a leg.",
            )


def require_lies(limb: LimbKind, posture: Posture) -> None:
    """Check that a limb can lie so.

    Raises
    ------
    ShapeError
        An arm is said to lie on its back, or a leg on its palm.
    """
    if limb != limb_that_lies(posture):
        raise ShapeError(
            f"No {limb} lies {posture}.",
            do="Say palm-down or palm-up for an arm, on-back for the leg of a person on the back.",
        )


def limb_that_lies(posture: Posture) -> LimbKind:
    """Return the kind of limb that lies so."""
    return LimbKind.LEG if posture == "on-back" else LimbKind.ARM


def find_lying_axis(
    photos: Sequence[Photograph],
    calibration: Calibration,
    field: MarkerField,
    posture: Posture,
    lines: Sequence[Array | None] = (),
) -> Pose:
    """Return axis_from_world of a limb over its sheet, good enough to find its outlines.

    Parameters
    ----------
    photos, calibration, field, posture
        As for a measurement.
    lines
        For each photograph the line (n, 2) px that a person drew round the limb, None where there is none.

    Raises
    ------
    PhotoError
        When there are fewer than three photographs.
    OutlineError
        When the limb is not seen before a plain sheet, from two sides, stretched.
    """
    _require_three([photo.name for photo in photos], "were given")
    found, refused = [], []
    for n, photo in enumerate(photos):
        line, camera = lines[n] if lines else None, calibration.cameras[n]
        try:
            found.append(
                find_silhouette(photo, camera, placed_boards(calibration, field, n))
                if line is None
                else drawn_silhouette(line, camera, photo.name)
            )
        except OutlineError as error:
            refused.append(error)
    if refused and len(found) < LEAST_PHOTOS:
        raise refused[0]
    return find_axis(found, limb_that_lies(posture))


def _among(landmark: Landmark, given: Sequence[Photograph], used: Sequence[Photograph]) -> Landmark:
    """Return the landmark with its photograph counted among those that are used."""
    if not 0 <= landmark.photo < len(given):
        raise PhotoError(
            f"The landmark is said to be in photograph {landmark.photo + 1}, but {len(given)} were given.",
            do="Tap it in one of the photographs.",
        )
    photo, digests = given[landmark.photo], [each.sha256 for each in used]
    if photo.sha256 not in digests:
        raise PhotoError(
            "The landmark was tapped in a photograph that was left out.",
            where=photo.name,
            do="Tap it in another photograph.",
        )
    return replace(landmark, photo=digests.index(photo.sha256))


def settle(
    sighted: Outlined,
    photos: Sequence[Photograph],
    lying: Lying,
    *,
    limb: LimbKind,
    side: Side,
    from_mm: float | None = None,
    to_mm: float | None = None,
) -> Outlined:
    """Lay the axis of a lying limb through its middle, and count its heights from the landmark.

    Parameters
    ----------
    sighted
        Outlines found with the axis that the silhouettes told.
    photos
        All photographs as given, among which the landmark's is counted.
    lying, limb, side
        As for a measurement.
    from_mm, to_mm
        Heights between which the limb is measured: the axis is that of this stretch.

    Raises
    ------
    ShapeError
        The limb is bent, or the landmark was not tapped on it.
    PhotoError
        Fewer than three photographs from different sides, the landmark's is not one that is used, or the tap
        lies outside it.
    """
    names = [photo.name for photo in sighted.photos]
    cameras, outlines = sighted.calibration.cameras, sighted.outlines
    landmark = _among(lying.landmark, photos, sighted.photos)
    _require_sides(cameras, sighted.axis_from_world, names)
    views = tuple(
        View(name, camera, outline.edges)
        for name, camera, outline in zip(names, cameras, outlines, strict=True)
    )
    camera, name = cameras[landmark.photo], names[landmark.photo]

    def start_on(rough: Limb) -> Place:
        try:
            return _landmark_height(rough, landmark, camera, name)
        except ShapeError as error:
            raise ShapeError(error.what, where=error.where, do=sleeve(outlines) or error.do) from error

    axis, found = sighted.axis_from_world, _roughly(views, sighted.axis_from_world, limb, side)
    for _ in range(_ROUNDS):
        start = start_on(found).height_mm
        better = straight_axis(found, _plus(start, from_mm), _plus(start, to_mm))
        turn = np.degrees(np.arccos(np.clip(better.rotation[2] @ axis.rotation[2], -1.0, 1.0)))
        axis, found = better, _roughly(views, better, limb, side)
        if turn < _ENOUGH_DEG:
            break
    place = start_on(found)
    axis = shifted(axis, place.height_mm)
    turn = bend(found, _plus(place.height_mm, from_mm), _plus(place.height_mm, to_mm))
    turn = turn._replace(height_mm=turn.height_mm - place.height_mm)
    again = tuple(
        counted_along(outline, camera, axis) for outline, camera in zip(outlines, cameras, strict=True)
    )
    return replace(
        sighted,
        outlines=again,
        axis_from_world=axis,
        findings=(*sighted.findings, *bend_findings(turn, limb), *start_findings(place, name)),
        landmark=(landmark.photo, *landmark.at),
        counted_from=landmark.place,
        start_sd_mm=place.sd_mm,
    )


def _plus(start: float, height: float | None) -> float | None:
    return None if height is None else start + height


def _require_three(names: Sequence[str], there: str) -> None:
    if len(names) < LEAST_PHOTOS:
        raise PhotoError(
            f"A limb that lies needs {LEAST_PHOTOS} photographs, but {len(names)} {there}: two do not tell "
            "how flat it is.",
            where=", ".join(names),
            do=_THREE,
        )


def _require_sides(cameras: Sequence[Camera], axis: Pose, names: Sequence[str]) -> None:
    """Check that three photographs or more look at the limb from sides that differ."""
    _require_three(names, "can be used")
    eyes = np.array([axis.apply(camera.centre)[:2] for camera in cameras])
    sides = np.degrees(np.arctan2(eyes[:, 1], eyes[:, 0])) % 180.0
    order = np.argsort(sides)
    gaps = np.diff(np.append(sides[order], sides[order[0]] + 180.0))
    apart = int(np.count_nonzero(gaps >= _LEAST_APART_DEG))
    if apart < LEAST_PHOTOS:
        raise PhotoError(
            "The photographs look at the limb from too few sides: two of them from nearly the same.",
            where=", ".join(names),
            do=_THREE,
        )


_THREE = "Take one slanting from either side, and one from above."


def _roughly(views: tuple[View, ...], axis: Pose, limb: LimbKind, side: Side) -> Limb:
    try:
        return fit_limb(views, limb=limb, side=side, axis_from_world=axis, roughly=True).limb
    except ShapeError as error:
        raise ShapeError(error.what, where=error.where, do=UNCLEAR) from error


def _landmark_height(found: Limb, landmark: Landmark, camera: Camera, name: str) -> Place:
    width, height = camera.size
    x, y = landmark.at
    if not (0 <= x < width and 0 <= y < height):
        raise PhotoError(
            f"The landmark ({x:.0f}, {y:.0f}) lies outside the picture of {width} x {height} pixels.",
            where=name,
            do="Give its place in pixels of the full-size photograph, from the left and from the top.",
        )
    try:
        return height_of(found, camera.centre, camera.rays(np.array([x, y])))
    except ShapeError as error:
        raise ShapeError(error.what, where=name, do=error.do) from error
