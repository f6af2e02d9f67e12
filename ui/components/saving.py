"""A draft becomes a stored visit, and a stored visit a draft again."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from digitise.anatomy import LimbKind, Side, counts_alike
from digitise.errors import DigitiseError, RecordError
from digitise.geometry.support import points_on_axis
from digitise.output.model.form import AxisForm
from digitise.output.model.measured import Measured
from digitise.record.store import Store
from digitise.record.values import Clearance, NewVisit, Visit, VisitId
from digitise.tape.rows import TapeRow
from ui import dates, measuring, stored, work
from ui import draft as drafts
from ui.components import places
from ui.draft import Draft
from ui.inputs import Axis, Inputs
from ui.lengths import kept_unit
from ui.spoken import text
from ui.typed import TypedTape, as_typed, rows_in_trouble

FEWEST_PHOTOS = 2
_OF_ONE_LIMB = (
    *("note", "axis", "landmark", "places", "changes", "seen", "saved", "cleared", "names", "same_visit"),
)


def missing(inputs: Inputs, tape: TypedTape) -> list[str]:
    """Return in words what a visit still needs before it can be kept; no typed row is dropped silently."""
    wanted = (
        (inputs.client.strip(), text.WAITS_CODE),
        (inputs.clearance, text.WAITS_CLEARANCE),
        (inputs.flags is not None, text.WAITS_FLAGS),
        (dates.is_sound(inputs.day, inputs.hour), text.WAITS_DAY),
    )
    rows = [text.WAITS_ROW.format(number) for number in rows_in_trouble(tape)]
    return [*(words for there, words in wanted if not there), *rows]


def save(draft: Draft, inputs: Inputs, measured: Measured) -> VisitId:
    """Store the visit with its photographs, corrections and limb, and return its number.

    A visit that was opened again takes its own old place, with its time.

    Raises
    ------
    DigitiseError
        Something in it cannot be kept.
    """
    with Store() as store:
        before = None if inputs.changes is None else store.load_visit(VisitId(inputs.changes))
        visit = _visit(draft, inputs, measured, before)
        if before is None:
            return store.add_visit(visit)
        store.replace_visit(before.id, visit, seen=inputs.seen)
        return before.id


def _visit(draft: Draft, inputs: Inputs, measured: Measured, before: Visit | None) -> NewVisit:
    now = datetime.now().astimezone()
    paths = draft.photos
    measured = places.beside(measured, inputs)
    return NewVisit(
        client=inputs.client,
        limb=inputs.limb or LimbKind.LEG,
        side=inputs.side or Side.LEFT,
        taken=_taken(inputs, before, now),
        tape=_lettered(measured.tape, before.tape if before else ()),
        photos=paths,
        field_json=work.field_text(draft, inputs),
        lens_json=draft.lens_json,
        model=measuring.model_files(measured),
        corrections={n: words for n, path in enumerate(paths, start=1) if (words := draft.correction(path))},
        posture=inputs.posture,
        measured_by=inputs.measured_by,
        note=inputs.note,
        clearance=_clearance(inputs, now, before.clearance if before else Clearance()),
        places=measured.places,
    )


def _taken(inputs: Inputs, before: Visit | None, now: datetime) -> datetime:
    """Return the typed time; a stored one that was not changed keeps its seconds."""
    was = None if before is None else before.taken
    if was is not None and (inputs.day, inputs.hour) in (dates.as_typed(was), ("", "")):
        return was
    return dates.typed_time(inputs.day, inputs.hour) or was or now


def _lettered(tape: tuple[TapeRow, ...], before: tuple[TapeRow, ...]) -> tuple[TapeRow, ...]:
    """Return the rows with the letters that stored rows of the same height had: the page knows no letters."""
    letters = {round(row.height_mm, 3): row.point for row in before}
    return tuple(replace(row, point=letters.get(round(row.height_mm, 3), row.point)) for row in tape)


def _clearance(inputs: Inputs, now: datetime, before: Clearance) -> Clearance:
    """Return the answers; one that was not changed keeps its time, and questions not asked here are kept."""
    answer = inputs.clearance or "not-asked"
    same = (answer, inputs.clearance_by.strip().upper()) == (before.answer, before.by)
    when = None if answer == "not-asked" else now
    asked_elsewhere = tuple(flag for flag in before.red_flags if flag[0] not in text.FLAG_NAMES)
    return Clearance(
        answer, inputs.clearance_by, before.when if same else when, (*asked_elsewhere, *_flags(inputs))
    )


def _flags(inputs: Inputs) -> tuple[tuple[str, bool], ...]:
    """Return every question asked with its answer; none when they were not asked."""
    if inputs.flags is None:
        return ()
    return tuple((flag, flag in inputs.flags) for flag in text.FLAG_NAMES if flag != text.NO_FLAG)


def other_limb(draft: Draft, inputs: Inputs) -> Draft:
    """Return a draft for the opposite limb of the visit; who, answers, sheets and heights are kept.

    Where both feet stood on the mat the photographs show that limb as well, and are kept too.
    """
    other = Draft(drafts.drafts_folder() / drafts.new_token())
    for photo in draft.photos if inputs.both_feet else ():
        other.add_photo(photo.read_bytes(), photo.name)
    if draft.field_json is not None:
        other.write_field(draft.field_json)
    other.write_lens(draft.lens_json)
    same_photos = ("names", "same_visit") if inputs.both_feet else ()
    new = {
        "side": inputs.side and inputs.side.other,
        "rows": tuple((height, "") for height, _ in inputs.rows),
        **{
            name: Inputs.model_fields[name].get_default(call_default_factory=True)
            for name in _OF_ONE_LIMB
            if name not in same_photos
        },
    }
    other.write(inputs.model_copy(update=new))
    return other


def reopened(number: VisitId) -> Draft:
    """Return a draft of a stored visit, to be changed; one that was begun already goes on.

    One that was begun on what somebody has changed since does not, for it could not be saved.

    Raises
    ------
    DigitiseError
        There is no such visit, or what it was measured from was not stored with it.
    """
    with Store() as store:
        visit = store.load_visit(number)
        for begun in drafts.all_drafts():
            inputs = drafts.inputs_or_none(begun)
            if inputs is None or inputs.cleared:
                continue
            if (inputs.changes, inputs.seen, inputs.saved) == (number, visit.state, None):
                return begun
        if len(visit.photos) < FEWEST_PHOTOS or not visit.has_field:
            raise RecordError(text.REOPEN_NOTHING, where=text.VISIT_NAME.format(number), do=text.REOPEN_NEW)
        draft = Draft(drafts.drafts_folder() / drafts.new_token())
        try:
            _fill(draft, store, visit)
        except DigitiseError:
            draft.remove()
            raise
    return draft


def _fill(draft: Draft, store: Store, visit: Visit) -> None:
    for photo in visit.photos:
        path = draft.add_photo(store.photo(visit.id, photo.number), f"photo-{photo.number}.jpg")
        draft.write_correction(path, visit.corrections.get(photo.number))
    draft.write_field(store.field(visit.id))
    draft.write_lens(visit.lens_json)
    # last: a draft counts from its inputs on
    draft.write(_inputs(visit, _axis(store, visit), _lying(store, visit)))


def _inputs(visit: Visit, axis: Axis, lying: Inputs) -> Inputs:
    asked = [code for code, _ in visit.clearance.red_flags if code in text.FLAG_NAMES]
    unit = kept_unit()
    signs = tuple(code for code, there in visit.clearance.red_flags if there and code in asked)
    return Inputs(
        client=visit.client,
        limb=visit.limb,
        side=visit.side,
        clearance=visit.clearance.answer,
        clearance_by=visit.clearance.by,
        flags=signs if asked else None,
        posture=visit.posture,
        measured_by=visit.measured_by,
        note=visit.note,
        sheets="own",
        unit=unit.name,
        rows=tuple((as_typed(row.height_mm, unit), as_typed(row.girth_mm, unit)) for row in visit.tape),
        places=places.as_inputs(visit.places),
        axis=(None,) * 6 if lying.lies else axis,
        lies=lying.lies,
        landmark=lying.landmark,
        day=dates.as_typed(visit.taken)[0],
        hour=dates.as_typed(visit.taken)[1],
        changes=int(visit.id),
        seen=visit.state,
    )


def _lying(store: Store, visit: Visit) -> Inputs:
    """Return how the stored limb lay, and from where its heights count; empty where it stood alone."""
    summary = stored.stored_model(store, visit.id).summary if visit.has_model else None
    if summary is not None and visit.limb == LimbKind.LEG and _is_beside(summary.axis_from_world):
        return Inputs(lies="both-feet")
    if summary is None or summary.lying is None or summary.landmark is None:
        return Inputs()
    place = summary.landmark
    lies = Inputs(lies=summary.lying, landmark=(place.photo - 1, place.x_px, place.y_px))
    asked = work.landmark_asked(lies.lying)
    # one photograph was left out, so that numbers differ, or it is another place: ask for the tap again
    if len(summary.photos) != len(visit.photos) or not counts_alike(place.place, asked):
        return Inputs(lies=summary.lying)
    return lies


def _is_beside(axis: AxisForm) -> bool:
    """Tell whether an axis is upright and off the mat's middle, as of a leg beside the other one."""
    return np.array_equal(axis.rotation, np.eye(3)) and bool(np.any(axis.translation_mm[:2]))


def _axis(store: Store, visit: Visit) -> Axis:
    """Return the axis that the stored limb was measured along; empty where it stood on the mat."""
    if not visit.has_model:
        return (None,) * 6
    axis = stored.stored_model(store, visit.id).limb.axis_from_world
    if np.array_equal(axis.rotation, np.eye(3)) and not axis.translation.any():
        return (None,) * 6
    x, y, z, x2, y2, z2 = (round(float(value), 6) for value in points_on_axis(axis).flat)
    return (x, y, z, x2, y2, z2)
