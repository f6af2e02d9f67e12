"""From photographs to the limb: outlines, the measurement, its pictures; made once and remembered."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from digitise.anatomy import LimbKind, Side
from digitise.capture.outline.correction import Correction, correction_from_json
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph
from digitise.capture.sheets.field import MarkerField
from digitise.errors import OutlineError, PhotoError
from digitise.geometry.mesh import Mesh
from digitise.geometry.rigid import Pose
from digitise.output.model.files import model_text
from digitise.output.model.form import ModelForm
from digitise.output.model.measured import Measured
from digitise.output.model.pictures import draw_outline
from digitise.record.values import ModelFiles
from digitise.shape.end import EndPart, whole_mesh
from digitise.shape.limb import Limb
from digitise.shape.mesh import limb_mesh
from digitise.shape.section import SectionOutline, section_outline
from digitise.tape.rows import PlaceGirth, TapeRow
from digitise.workflow.drawn import drawn_bounds, lines_round
from digitise.workflow.measure import fit_outlines
from digitise.workflow.posture.lying import Lying, Posture, find_lying_axis, settle
from digitise.workflow.posture.outlined import Outlined
from digitise.workflow.seen.outlines import find_outlines, tried_outlines
from ui import ends
from ui.lengths import Unit
from ui.memo import Memo
from ui.spoken import text
from ui.work import Inspected, Progress, opened, take_turn, without_pixels

_JPEG_QUALITY = 85


MESH_STEP_MM, MESH_RAYS = 8.0, 72


# round the limb's axis, for the editor: a swollen thigh is 250 mm thick, a groin 900 mm high
_LIMB_BOX_MM, _LIMB_TOP_MM = 170.0, 900.0


_outlined = Memo(24)
_axes = Memo(24)


# 5 MB each, most of it the limb's covariance: as many as there are tabs in which somebody works
_measured = Memo(6)


_meshes = Memo(12)


_pictures = Memo(40, spoken=True)


_summaries = Memo(24)


_sections = Memo(400)


@dataclass(frozen=True)
class Sight:
    """A photograph without its pixels, and left, top, right, bottom of the part where a limb can be, px."""

    photo: Photograph
    part: tuple[int, int, int, int]


def sight_of(
    source: Measured | Inspected, number: int, axis: Pose | None = None, *, lies: bool = False
) -> Sight:
    """Return where a limb can be in a photograph (from 0) whose camera is solved, about its axis if known.

    One that lies along an axis that is not known can be anywhere.
    """
    if isinstance(source, Measured):
        photo, calibration, axis = source.photos[number], source.calibration, source.axis_from_world
    else:
        photo, axis = source.seen[number].photo, axis or Pose.identity()
        found = source.inspection.calibration
        if found is None:
            raise PhotoError(text.NO_CAMERA, where=photo.name)
        calibration = found
    height, width = photo.pixels.shape[:2]
    if lies and axis is None:
        return Sight(photo, (0, 0, width, height))
    sides = np.array([-_LIMB_BOX_MM, _LIMB_BOX_MM])
    corners = np.stack(np.meshgrid(sides, sides, [0.0, _LIMB_TOP_MM]), axis=-1).reshape(-1, 3)
    points = calibration.cameras[number].project(axis.inverse().apply(corners))
    points = points[np.isfinite(points).all(axis=1)]
    if len(points) < 2:
        return Sight(photo, (0, 0, width, height))
    x0, y0 = np.clip(np.floor(points.min(axis=0)), 0, [width - 2, height - 2]).astype(int)
    x1, y1 = np.clip(np.ceil(points.max(axis=0)), [x0 + 2, y0 + 2], [width, height]).astype(int)
    return Sight(photo, (int(x0), int(y0), int(x1), int(y1)))


def outlines_alone(
    paths: Sequence[Path],
    inspected: Inspected,
    field: MarkerField,
    limb: LimbKind,
    corrections: Mapping[str, str],
    tell: Progress,
    axis: Pose | None = None,
    tape: tuple[TapeRow, ...] = (),
    *,
    lies: bool = False,
) -> list[Outline | OutlineError]:
    """Return the outline of each photograph, or why it has none.

    Raises
    ------
    DigitiseError
        A photograph cannot be read, or a correction is damaged.
    """
    if inspected.inspection.calibration is None:
        return []
    calibration = inspected.inspection.calibration
    drawn, frame = _drawn(corrections), axis or Pose.identity()

    def find() -> list[Outline | OutlineError]:
        tell(text.STEP_OUTLINES)
        with take_turn(tell):
            photos = tuple(opened(path) for path in paths)
            tried = tried_outlines(
                photos, calibration, field, frame, limb=limb, drawn=drawn, tape=tape, lies=lies
            )
            return list(tried.outlines)

    key = ("alone", inspected.key, limb, tuple(sorted(corrections.items())), _axis_key(axis), tape)
    return _outlined.get(key, find)


def _drawn(corrections: Mapping[str, str]) -> dict[str, Correction]:
    return {name: correction_from_json(words, name) for name, words in corrections.items()}


def _axis_key(axis: Pose | None) -> Hashable:
    return None if axis is None else (axis.rotation.tobytes(), axis.translation.tobytes())


def measure(
    paths: Sequence[Path],
    inspected: Inspected,
    field: MarkerField,
    tape: tuple[TapeRow, ...],
    limb: LimbKind,
    side: Side,
    corrections: Mapping[str, str],
    tell: Progress,
    axis: Pose | None = None,
    lying: Lying | None = None,
    places: tuple[PlaceGirth, ...] = (),
) -> Measured:
    """Find the outlines, then the limb, then its foot or hand; only what has changed is done again.

    Raises
    ------
    DigitiseError
        The photographs, a correction or the tape do not give a limb.
    """
    every, whole = paths, inspected
    hands = ends.hands_among(inspected, field, None if lying is None else lying.posture)
    paths, inspected = ends.without(paths, inspected, hands)
    if lying is not None:
        axis = lying_axis(every, whole, field, lying.posture, tell, corrections)
    drawn_key = (inspected.key, limb, tuple(sorted(corrections.items())), _axis_key(axis))
    drawn = _drawn(corrections)

    def outline(girths: tuple[TapeRow, ...] = ()) -> Outlined:
        tell(text.STEP_OUTLINES)
        with take_turn(tell):
            photos = tuple(opened(path) for path in paths)
            found = find_outlines(
                photos,
                inspected.inspection,
                field,
                limb=limb,
                axis_from_world=axis,
                corrections=drawn,
                detections=[seen.detections for seen in inspected.seen],
                same_visit=inspected.same_visit,
                lying=lying,
                tape=girths,
            )
        above = tuple(replace(each, photo=without_pixels(each.photo)) for each in found.above)
        return replace(found, photos=tuple(map(without_pixels, found.photos)), above=above)

    def by_tape() -> Outlined:
        # another girth seeks no edge anew, but where the photographs cannot tell one without
        try:
            found = _outlined.get(drawn_key, outline)
        except OutlineError:
            if not tape:
                raise
        else:
            if not (tape and found.tape_may_tell):
                return found
        return _outlined.get((drawn_key, tape), lambda: outline(tape))

    def settled(way: Lying) -> Outlined:
        found = _outlined.get(drawn_key, outline)
        tell(text.STEP_LIMB)
        return settle(found, [seen.photo for seen in whole.seen], way, limb=limb, side=side)

    def fit() -> Measured:
        lies = (drawn_key, lying, side)
        outlined = by_tape() if lying is None else _outlined.get(lies, lambda: settled(lying))
        tell(text.STEP_LIMB)
        drawn_on = [drawn.get(photo.name) for photo in outlined.photos]
        low, high = drawn_bounds(outlined.outlines, drawn_on) or (None, None)
        measured = fit_outlines(outlined, tape, limb=limb, side=side, from_mm=low, to_mm=high)
        if hands:
            return ends.add_hand(measured, every, whole, field, hands, places, tell)
        return ends.add_foot(measured, outlined, paths, tell) if outlined.above else measured

    return _measured.get((drawn_key, tape, limb, side, lying, places if hands else ()), fit)


def lying_axis(
    paths: Sequence[Path],
    inspected: Inspected,
    field: MarkerField,
    posture: Posture,
    tell: Progress,
    corrections: Mapping[str, str],
) -> Pose:
    """Return the axis of a limb over its sheet, as its silhouettes tell it, or the lines drawn round it.

    Raises
    ------
    DigitiseError
        The limb is not seen before a plain sheet, from two sides, stretched.
    """
    drawn = _drawn(corrections)
    paths, inspected = ends.without(paths, inspected, ends.hands_among(inspected, field, posture))
    calibration = inspected.inspection.calibration
    if calibration is None:
        raise PhotoError(text.NO_CAMERA)

    def find() -> Pose:
        tell(text.STEP_OUTLINES)
        with take_turn(tell):
            photos = [opened(path) for path in paths]
            return find_lying_axis(photos, calibration, field, posture, lines_round(photos, drawn))

    return _axes.get((inspected.key, posture, tuple(sorted(corrections.items()))), find)


def place_of(measured: Measured, path: Path) -> int | None:
    """Return which photograph of the limb's sides (from 0) a path is; None when it is none of them."""
    return next((n for n, photo in enumerate(measured.photos) if photo.name == path.name), None)


def mesh_of(limb: Limb) -> Mesh:
    """Return a light surface for the screen."""
    return _meshes.get(limb_key(limb), lambda: limb_mesh(limb, MESH_STEP_MM, MESH_RAYS))


def whole_mesh_of(limb: Limb, end: EndPart | None) -> Mesh:
    """Return a light surface for the screen, with the foot or hand where there is one."""
    if end is None:
        return mesh_of(limb)
    key = ("whole", limb_key(limb), end.vertices.tobytes())
    return _meshes.get(key, lambda: whole_mesh(end, limb, MESH_STEP_MM, MESH_RAYS))


def outline_at(limb: Limb, height_mm: float) -> SectionOutline:
    """Return the outline of a section with its band."""
    return _sections.get((limb_key(limb), height_mm), lambda: section_outline(limb, height_mm))


def limb_key(limb: Limb) -> str:
    """Return a digest of a limb."""
    return hashlib.sha256(
        limb.mean.tobytes() + f"{limb.from_mm}-{limb.to_mm}-{limb.side}".encode()
    ).hexdigest()


def outline_picture(path: Path, measured: Measured, number: int, unit: Unit) -> bytes:
    """Return the photograph of that path, ``number`` (from 0), with its edge drawn, as a JPEG file."""
    outline, limb = measured.outlines[number], measured.fit.limb

    def draw() -> bytes:
        camera = measured.calibration.cameras[number]
        return jpeg(draw_outline(opened(path), outline, camera, limb, unit.sentence).pixels)

    return _pictures.get(("outline", limb_key(limb), number, unit.name), draw)


def jpeg(pixels: NDArray[np.uint8]) -> bytes:
    """Return pixels as a JPEG file."""
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "JPEG", quality=_JPEG_QUALITY)
    return stream.getvalue()


def remembered_picture(key: Hashable, draw: Callable[[], bytes]) -> bytes:
    """Return a picture, drawn once."""
    return _pictures.get(key, draw)


def model_files(measured: Measured) -> ModelFiles:
    """Return the two files of a measured limb as the records keep them."""
    model = model_text(measured)
    return ModelFiles(model.json, model.limb)


def summary_of(measured: Measured) -> ModelForm:
    """Return the figures of a measured limb, as model.json has them."""

    def make() -> ModelForm:
        return model_text(measured).summary

    return _summaries.get((limb_key(measured.fit.limb), measured.tape, measured.places), make)


def forget_remembered() -> None:
    """Drop all that is remembered, so that nothing of a forgotten client stays in memory."""
    for memo in (_outlined, _axes, _measured, _meshes, _pictures, _summaries, _sections):
        memo.forget()
