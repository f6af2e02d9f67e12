"""Photographs: opened, looked at, their cameras solved; each thing once, and remembered for a while."""

from __future__ import annotations

import contextlib
import ctypes
import threading
from collections.abc import Callable, Hashable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from digitise.anatomy import CountedFrom
from digitise.capture.calibration.lens import lens_from_json
from digitise.capture.calibration.markers import Detection, find_markers
from digitise.capture.checks.inspection import Inspection, inspect_photos
from digitise.capture.photo.photograph import Photograph, read_photo
from digitise.capture.sheets.field import MarkerField, field_from_json, field_to_json
from digitise.capture.sheets.layout import parse_print_scale, sheet_field, sheet_set
from digitise.errors import DigitiseError
from digitise.geometry.rigid import Pose
from digitise.geometry.support import axis_from_points
from digitise.paper import Paper
from digitise.workflow.posture.lying import Landmark, Lying
from ui.draft import Draft
from ui.inputs import Inputs
from ui.memo import Memo
from ui.spoken import text

Progress = Callable[[str], None]


# Photographs are 36 MB each when they are open, so only a few stay open, and all else that is remembered is
# without their pixels; a dozen visits in as many tabs then go on without doing anything twice.
_opened = Memo(2)


_detected = Memo(60)


_inspected = Memo(24)


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
    numbers = [number for number in inputs.axis if number is not None and not inputs.lying]
    return axis_from_points(np.array(numbers[:3]), np.array(numbers[3:])) if numbers else None


def landmark_asked(lying: str) -> CountedFrom:
    """Return the place that the page asks to tap on a limb that lies so."""
    return CountedFrom.ANKLE_BONE if lying == "on-back" else CountedFrom.WRIST_CREASE


def lying_of(inputs: Inputs) -> Lying | None:
    """Return how the limb lies and from where its heights count; None while either is open or it stands."""
    if not inputs.lying or inputs.landmark is None:
        return None
    photo, x, y = inputs.landmark
    return Lying(inputs.lying, Landmark(photo, (x, y), landmark_asked(inputs.lying)))  # type: ignore[arg-type]  # one of the three by Inputs


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
        return Seen(without_pixels(photo), find_markers(photo, field))

    def seen(path: Path) -> Seen | DigitiseError:
        try:
            return _detected.get((file_key(path), key), lambda: look(path))
        except DigitiseError as error:
            return error

    if all(_detected.has((file_key(path), key)) for path in paths):
        return tuple(seen(path) for path in paths)
    with take_turn(tell):
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

    key = (tuple(file_key(path) for path in paths), field_key(draft, inputs), tuple(others))
    return _sheets_seen.get(key, find)


def inspect(
    paths: Sequence[Path],
    field: MarkerField,
    key: Hashable,
    tell: Progress,
    lens_json: str | None = None,
    *,
    same_visit: bool = False,
    lying: bool = False,
) -> Inspected:
    """Find the markers in photographs and solve their cameras.

    Raises
    ------
    DigitiseError
        A photograph or the lens profile cannot be used.
    """
    whole_key = (tuple(file_key(path) for path in paths), key, lens_json, same_visit, lying)
    profile = None if lens_json is None else lens_from_json(lens_json, text.LENS_FILE)

    def make() -> Inspected:
        seen = look_at_each(paths, field, key, tell)
        sound = [each for each in seen if not isinstance(each, DigitiseError)]
        for each in seen:
            if isinstance(each, DigitiseError):
                raise each
        with take_turn(tell):
            tell(text.STEP_CAMERAS)
            photos = [opened(path) for path in paths]
            markers = [each.detections for each in sound]
            found = inspect_photos(photos, markers, field, profile, same_visit=same_visit, lying=lying)
        return Inspected(tuple(sound), found, whole_key, same_visit)

    return _inspected.get(whole_key, make)


def opened(path: Path) -> Photograph:
    """Return a photograph with its pixels.

    Raises
    ------
    DigitiseError
        It cannot be read.
    """
    return _opened.get(file_key(path), lambda: read_photo(path))


def without_pixels(photo: Photograph) -> Photograph:
    """Return all of a photograph but its pixels; its height and width are still those of the array."""
    return replace(photo, pixels=np.empty((*photo.pixels.shape[:2], 0), np.uint8))


@contextlib.contextmanager
def take_turn(tell: Progress) -> Iterator[None]:
    """Wait until fewer than two other visits are worked on."""
    if not _turns.acquire(blocking=False):
        tell(text.STEP_WAITING)
        _turns.acquire()
    try:
        yield
    finally:
        _turns.release()
        give_back()


def close_photographs() -> None:
    """Close what is open: a visit is done."""
    _opened.forget()
    give_back()


def give_back() -> None:
    """Hand the memory that pictures took back to the system, where its library keeps it for the next ones."""
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)


def file_key(path: Path) -> Hashable:
    """Return what tells a file from another, and from itself before a change."""
    there = path.stat()
    return (str(path), there.st_mtime_ns, there.st_size)


def forget_remembered() -> None:
    """Drop all that is remembered, so that nothing of a forgotten client stays in memory."""
    for memo in (_opened, _detected, _inspected, _sheets_seen):
        memo.forget()
