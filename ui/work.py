"""The calls that take time, made once and remembered for a while."""

from __future__ import annotations

import contextlib
import hashlib
import io
import tempfile
import threading
import zipfile
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from digitise.capture.calibration.lens import lens_from_json
from digitise.capture.calibration.markers import Detection, find_markers
from digitise.capture.checks.inspection import Inspection, inspect_photos
from digitise.capture.outline.correction import Correction, correction_from_json
from digitise.capture.outline.find import Outline
from digitise.capture.photo.photograph import Photograph, read_photo
from digitise.capture.sheets.field import MarkerField, field_from_json, field_to_json
from digitise.capture.sheets.layout import parse_print_scale, sheet_field, sheet_set
from digitise.errors import DigitiseError, OutlineError, PhotoError, RecordError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array, Pose
from digitise.geometry.support import axis_from_points
from digitise.geometry.view import Edge
from digitise.output.model.file import StoredModel, model_from_bytes
from digitise.output.model.files import model_text
from digitise.output.model.form import ModelForm, camera_from_form
from digitise.output.model.measured import Measured
from digitise.output.model.pictures import draw_outline, front_arc
from digitise.paper import Paper
from digitise.record.store import Store
from digitise.record.values import ModelFiles, VisitId
from digitise.shape.limb import Limb
from digitise.shape.mesh import Mesh, limb_mesh
from digitise.shape.section import SectionOutline, section_outline
from digitise.tape.rows import TapeRow
from digitise.workflow.drawn import drawn_bounds, outline_or_reason
from digitise.workflow.measure import Outlined, find_outlines, fit_outlines
from ui import text
from ui.draft import Draft
from ui.inputs import Inputs
from ui.memo import Memo

Progress = Callable[[str], None]

MESH_STEP_MM, MESH_RAYS = 8.0, 72
_JPEG_QUALITY = 85
# round the limb's axis, for the editor: a swollen thigh is 250 mm thick, a groin 900 mm high
_LIMB_BOX_MM, _LIMB_TOP_MM = 170.0, 900.0
_RIM_STEP_MM = 5.0  # finer than a screen shows

# Photographs are 36 MB each when they are open, so only a few stay open, and all else that is remembered is
# without their pixels; a dozen visits in as many tabs then go on without doing anything twice.
_opened = Memo(4)
_detected = Memo(60)
_inspected = Memo(24)
_outlined = Memo(24)
_measured = Memo(24)
_meshes = Memo(24)
_pictures = Memo(80)
_models = Memo(60)
_summaries = Memo(24)
_sections = Memo(400)
_sheets = Memo(3)
_sheets_seen = Memo(24)

# visits that are worked on at once: each holds its photographs and more of their size in memory meanwhile
_turns = threading.BoundedSemaphore(2)


@dataclass(frozen=True)
class Seen:
    """A photograph, without its pixels, and the markers in it."""

    photo: Photograph
    detections: tuple[Detection, ...]


@dataclass(frozen=True)
class Inspected:
    """The photographs of a visit and what was found in them."""

    seen: tuple[Seen, ...]
    inspection: Inspection
    key: Hashable
    same_visit: bool = False


def field_of(draft: Draft, inputs: Inputs) -> MarkerField:
    """Return the sheets that a draft's photographs show.

    Raises
    ------
    DigitiseError
        The field.json is damaged, or the print scale is none.
    """
    own = draft.field_json
    if inputs.sheets == "own" and own is not None:
        return field_from_json(own, "field.json")
    paper: Paper = "a4" if inputs.sheets == "own" else inputs.sheets
    return sheet_field(sheet_set(paper), parse_print_scale(inputs.print_scale))


def axis_of(inputs: Inputs) -> Pose | None:
    """Return the frame of the typed axis; None when there is none and the limb stands on the mat.

    Raises
    ------
    DigitiseError
        Both points are the same.
    """
    numbers = [number for number in inputs.axis if number is not None]
    return axis_from_points(np.array(numbers[:3]), np.array(numbers[3:])) if numbers else None


def field_key(draft: Draft, inputs: Inputs) -> Hashable:
    """Return what tells the sheets of a draft from others."""
    return (inputs.sheets, inputs.print_scale, draft.field_json if inputs.sheets == "own" else None)


def field_text(draft: Draft, inputs: Inputs) -> str:
    """Return the field.json of a draft's sheets.

    Raises
    ------
    DigitiseError
        As :func:`field_of`.
    """
    return field_to_json(field_of(draft, inputs))


def look_at_each(
    paths: Sequence[Path], field: MarkerField, key: Hashable, tell: Progress
) -> tuple[Seen | DigitiseError, ...]:
    """Find the markers in each photograph; what is wrong with one of them does not hide the others."""

    def look(path: Path) -> Seen:
        tell(text.STEP_LOOKING.format(path.stem.replace("-", " ")))
        photo = opened(path)
        return Seen(_without_pixels(photo), find_markers(photo, field))

    def seen(path: Path) -> Seen | DigitiseError:
        try:
            return _detected.get((_file_key(path), key), lambda: look(path))
        except DigitiseError as error:
            return error

    if all(_detected.has((_file_key(path), key)) for path in paths):
        return tuple(seen(path) for path in paths)
    with _turn(tell):
        return tuple(seen(path) for path in paths)


def sheets_that_fit(draft: Draft, inputs: Inputs, tell: Progress) -> str | None:
    """Return which other set of sheets the photographs show; None when no set fits them."""
    paths = draft.photos
    there = [name for name in text.SHEETS_NAMES if name != "own" or draft.field_json is not None]
    others = [name for name in there if name != inputs.sheets]

    def fits(name: str) -> bool:
        other = inputs.model_copy(update={"sheets": name})
        with contextlib.suppress(DigitiseError):
            found = inspect(paths, field_of(draft, other), field_key(draft, other), tell, draft.lens_json)
            return found.inspection.calibration is not None and not found.inspection.refusals
        return False

    def find() -> str | None:
        return next((name for name in others if fits(name)), None)

    key = (tuple(_file_key(path) for path in paths), field_key(draft, inputs), tuple(others))
    return _sheets_seen.get(key, find)


def inspect(
    paths: Sequence[Path],
    field: MarkerField,
    key: Hashable,
    tell: Progress,
    lens_json: str | None = None,
    *,
    same_visit: bool = False,
) -> Inspected:
    """Find the markers in photographs and solve their cameras.

    Raises
    ------
    DigitiseError
        A photograph or the lens profile cannot be used.
    """
    whole_key = (tuple(_file_key(path) for path in paths), key, lens_json, same_visit)
    profile = None if lens_json is None else lens_from_json(lens_json, text.LENS_FILE)

    def make() -> Inspected:
        seen = look_at_each(paths, field, key, tell)
        sound = [each for each in seen if not isinstance(each, DigitiseError)]
        for each in seen:
            if isinstance(each, DigitiseError):
                raise each
        with _turn(tell):
            tell(text.STEP_CAMERAS)
            photos = [opened(path) for path in paths]
            markers = [each.detections for each in sound]
            found = inspect_photos(photos, markers, field, profile, same_visit=same_visit)
        return Inspected(tuple(sound), found, whole_key, same_visit)

    return _inspected.get(whole_key, make)


def opened(path: Path) -> Photograph:
    """Return a photograph with its pixels.

    Raises
    ------
    DigitiseError
        It cannot be read.
    """
    return _opened.get(_file_key(path), lambda: read_photo(path))


def _without_pixels(photo: Photograph) -> Photograph:
    """Return all of a photograph but its pixels; its height and width are still those of the array."""
    return replace(photo, pixels=np.empty((*photo.pixels.shape[:2], 0), np.uint8))


@contextlib.contextmanager
def _turn(tell: Progress) -> Iterator[None]:
    """Wait until fewer than two other visits are worked on."""
    if not _turns.acquire(blocking=False):
        tell(text.STEP_WAITING)
        _turns.acquire()
    try:
        yield
    finally:
        _turns.release()


@dataclass(frozen=True)
class Sight:
    """A photograph without its pixels, and left, top, right, bottom of the part where a limb can be, px."""

    photo: Photograph
    part: tuple[int, int, int, int]


def sight_of(source: Measured | Inspected, number: int) -> Sight:
    """Return where a limb can be in a photograph (from 0) whose camera is solved."""
    if isinstance(source, Measured):
        photo, calibration, axis = source.photos[number], source.calibration, source.axis_from_world
    else:
        photo, axis = source.seen[number].photo, Pose.identity()
        found = source.inspection.calibration
        if found is None:
            raise PhotoError(text.NO_CAMERA, where=photo.name)
        calibration = found
    height, width = photo.pixels.shape[:2]
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
    corrections: Mapping[str, str],
    tell: Progress,
    axis: Pose | None = None,
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
    drawn = {name: correction_from_json(words, name) for name, words in corrections.items()}

    def find() -> list[Outline | OutlineError]:
        tell(text.STEP_OUTLINES)
        with _turn(tell):
            return [
                outline_or_reason(
                    opened(path), number, calibration, field, axis or Pose.identity(), drawn.get(path.name)
                )
                for number, path in enumerate(paths)
            ]

    key = ("alone", inspected.key, tuple(sorted(corrections.items())), _axis_key(axis))
    return _outlined.get(key, find)


def _axis_key(axis: Pose | None) -> Hashable:
    return None if axis is None else (axis.rotation.tobytes(), axis.translation.tobytes())


def measure(
    paths: Sequence[Path],
    inspected: Inspected,
    field: MarkerField,
    tape: tuple[TapeRow, ...],
    limb: str,
    side: str,
    corrections: Mapping[str, str],
    tell: Progress,
    axis: Pose | None = None,
) -> Measured:
    """Find the outlines, then the limb; only what has changed is done again.

    Raises
    ------
    DigitiseError
        The photographs, a correction or the tape do not give a limb.
    """
    drawn_key = (inspected.key, tuple(sorted(corrections.items())), _axis_key(axis))
    drawn: dict[str, Correction] = {
        name: correction_from_json(words, name) for name, words in corrections.items()
    }

    def outline() -> Outlined:
        tell(text.STEP_OUTLINES)
        with _turn(tell):
            photos = tuple(opened(path) for path in paths)
            found = find_outlines(
                photos,
                inspected.inspection,
                field,
                axis_from_world=axis,
                corrections=drawn,
                detections=[seen.detections for seen in inspected.seen],
                same_visit=inspected.same_visit,
            )
        return replace(found, photos=tuple(map(_without_pixels, photos)))

    def fit() -> Measured:
        outlined = _outlined.get(drawn_key, outline)
        tell(text.STEP_LIMB)
        ends = drawn_bounds(outlined.outlines, [drawn.get(path.name) for path in paths]) or (None, None)
        return fit_outlines(outlined, tape, limb=limb, side=side, from_mm=ends[0], to_mm=ends[1])

    return _measured.get((drawn_key, tape, limb, side), fit)


def mesh_of(limb: Limb) -> Mesh:
    """Return a light surface for the screen."""
    return _meshes.get(limb_key(limb), lambda: limb_mesh(limb, MESH_STEP_MM, MESH_RAYS))


def outline_at(limb: Limb, height_mm: float) -> SectionOutline:
    """Return the outline of a section with its band."""
    return _sections.get((limb_key(limb), height_mm), lambda: section_outline(limb, height_mm))


def limb_key(limb: Limb) -> str:
    """Return a digest of a limb."""
    return hashlib.sha256(
        limb.mean.tobytes() + f"{limb.from_mm}-{limb.to_mm}-{limb.side}".encode()
    ).hexdigest()


def outline_picture(path: Path, measured: Measured, number: int) -> bytes:
    """Return the photograph of that path, ``number`` (from 0), with its edge drawn, as a JPEG file."""

    def draw() -> bytes:
        picture = draw_outline(
            opened(path),
            measured.outlines[number],
            measured.calibration.cameras[number],
            measured.fit.limb,
        )
        return jpeg(picture.pixels)

    return _pictures.get(("outline", limb_key(measured.fit.limb), number), draw)


def saved_picture(store: Store, visit: VisitId, number: int) -> bytes:
    """Return a stored photograph (from 1) with the edge of the stored limb on it, as a JPEG file.

    Without a stored camera it is the photograph alone, at the size of a screen.

    Raises
    ------
    DigitiseError
        The photograph or the limb is damaged.
    """
    stored = stored_model(store, visit)

    def draw() -> bytes:
        photo = _stored_photo(store.photo(visit, number), number)
        form = stored.summary.photos[number - 1].camera if number <= len(stored.summary.photos) else None
        if form is None:
            step = max(1, max(photo.pixels.shape[:2]) // 1600)
            return jpeg(np.ascontiguousarray(photo.pixels[::step, ::step]))
        camera = camera_from_form(form)
        return jpeg(draw_outline(photo, rim_outline(stored.limb, camera), camera, stored.limb).pixels)

    return _pictures.get(("saved", stored.summary.limb_sha256, number), draw)


def _stored_photo(data: bytes, number: int) -> Photograph:
    # our own copy, upright or with its orientation told; its digest was checked when it was read
    upright = ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB")
    return Photograph(text.PHOTO_NAME.format(number), np.asarray(upright), "", None, None)


def rim_outline(limb: Limb, camera: Camera) -> Outline:
    """Return the outline of a limb as a camera sees it."""
    z = np.arange(limb.from_mm, limb.to_mm, _RIM_STEP_MM)
    arcs = [front_arc(limb, camera, float(level)) for level in z]
    seen = [(level, arc) for level, arc in zip(z, arcs, strict=True) if len(arc) > 1]
    heights = np.array([level for level, _ in seen])
    ends = [np.array([arc[end] for _, arc in seen]) for end in (0, -1)]
    ends.sort(key=lambda points: float(points[:, 0].mean()))
    edges = [_plain_edge(points) for points in ends]
    return Outline((edges[0], edges[1]), (heights, heights), None)


def _plain_edge(points: Array) -> Edge:
    sure = np.ones(len(points), dtype=bool)
    return Edge(points, np.zeros_like(points), np.ones(len(points)), sure, sure)


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

    return _summaries.get((limb_key(measured.fit.limb), measured.tape), make)


def saved_limb(visit: int) -> tuple[ModelForm, Limb]:
    """Return figures and limb of a stored visit.

    Raises
    ------
    DigitiseError
        There is none, or it is damaged.
    """
    with Store() as store:
        stored = stored_model(store, VisitId(visit))
    return stored.summary, stored.limb


def heights_of_last_visit(client: str, limb: str, side: str) -> tuple[float, ...]:
    """Return the tape's heights at a limb's last visit, mm; none when there is no such visit."""
    with contextlib.suppress(RecordError), Store(create=False) as store:
        lines = [line for line in store.list_visits(client) if (line.limb, line.side) == (limb, side)]
        return tuple(row.height_mm for row in store.load_visit(lines[-1].id).tape) if lines else ()
    return ()


def stored_model(store: Store, visit: VisitId) -> StoredModel:
    """Return the limb of a stored visit.

    Raises
    ------
    DigitiseError
        There is none, or it is damaged.
    """
    files = store.model(visit)

    def read() -> StoredModel:
        return model_from_bytes(files.json, files.limb, Path(text.VISIT_NAME.format(visit)))

    return _models.get(hashlib.sha256(files.json.encode() + files.limb).hexdigest(), read)


def sheets_zip(paper: Paper, print_scale: str) -> bytes:
    """Return the sheets to print and their field.json as one file.

    Raises
    ------
    DigitiseError
        The print scale is none.
    """
    # brings a library for printing that no other page needs at its start
    from digitise.capture.sheets.files import save_sheets  # noqa: PLC0415

    scale = parse_print_scale(print_scale)

    def make() -> bytes:
        stream = io.BytesIO()
        with tempfile.TemporaryDirectory() as scratch, zipfile.ZipFile(stream, "w") as archive:
            files = save_sheets(Path(scratch) / "sheets", paper, scale)
            for path in (*files.pdfs, files.field):
                archive.write(path, path.name, zipfile.ZIP_DEFLATED)
        return stream.getvalue()

    return _sheets.get((paper, scale), make)


def _file_key(path: Path) -> Hashable:
    there = path.stat()
    return (str(path), there.st_mtime_ns, there.st_size)


def forget_remembered() -> None:
    """Drop all that is remembered, so that nothing of a forgotten client stays in memory."""
    for memo in (
        *(_opened, _detected, _inspected, _outlined, _measured),
        *(_meshes, _pictures, _models, _summaries, _sections),
    ):
        memo.forget()
