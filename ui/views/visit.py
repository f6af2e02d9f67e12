"""A visit: who, photographs, tape; the limb; save."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import streamlit as st

from digitise.anatomy import LimbKind
from digitise.capture.checks.finding import Finding
from digitise.errors import DigitiseError
from digitise.output.model.measured import Measured
from digitise.record.store import Store
from digitise.record.values import VisitId
from ui import dates, measuring, present, state, stored, typed, work
from ui.components import (
    both,
    chooser,
    frame,
    landmark,
    limb,
    outlines,
    pairing,
    photographs,
    places,
    reopen,
    result,
    safety,
    sample,
    saving,
    tape,
)
from ui.components import client as who
from ui.draft import Draft, all_drafts, inputs_or_none
from ui.inputs import Inputs, merged
from ui.lengths import Unit
from ui.plain import plain
from ui.spoken import text
from ui.typed import TypedTape
from ui.work import Inspected

_TYPED = (
    *("client", "limb", "side", "lies", "clearance", "clearance_by", "posture", "measured_by", "note"),
    *("sheets", "print_scale", "day", "hour"),
)
# what the session remembers as it stands
_KEPT = ("landmark", "unit", "places", "names")


def main() -> None:
    """Draw the page."""
    draft = state.draft()
    before = _begun(draft)
    pairing.keep_to(draft, before.saved is None)
    _head(draft, before)
    frame.tell_flash()
    sample.banner(before.client)
    if before.saved is not None:
        _locked(draft, before)
        return
    bar = frame.status_bar()
    left, right = st.columns([4, 5], gap="large")
    with left:
        who.client_and_limb(before)
        photographs.take_in(draft, before)
    inputs = _gathered(before)
    state.keep(draft, inputs)
    tape.offer_heights(inputs)
    with left:
        inspected = photographs.look(draft, inputs)
        unit = tape.head(before)
    rows = tape.typed_rows(before)
    typed_tape = typed.read_typed(rows, unit)
    inputs = inputs.model_copy(update={"unit": unit.name, "rows": rows})
    state.keep(draft, inputs)
    with right, frame.errors():
        landmark.ask(draft, inputs, inspected)
    with right, frame.errors():
        measured = _measured(draft, inputs, inspected, typed_tape)
    checks = measured.fit.tape_checks if measured else ()
    with left, frame.errors():
        tape.table(inputs, unit, typed_tape, checks)
        places.table(inputs, unit)
        for line in present.tape_advice(typed_tape, checks, inputs.limb or LimbKind.LEG, unit):
            st.warning(line)
        _start_over(draft, inputs)
    with right, frame.errors():
        if measured:
            _limb(draft, inputs, measured, unit, photographs.beside(inputs, inspected))
    with bar, frame.errors():
        _status(draft, inputs, measured, typed_tape)
    frame.foot(unit=False)


def _begun(draft: Draft) -> Inputs:
    """Return what the draft holds; what another tab typed in it meanwhile is put into this one's fields."""
    try:
        there = draft.read()
    except DigitiseError as error:
        frame.show_error(error)
        there = Inputs()
    base = state.base()
    if base is None:
        state.hold(there)
        return there
    if there == base or there.saved is not None:
        state.hold(there)
        return there
    mine = _gathered(base).model_copy(update={"rows": tape.typed_rows(base)})
    both = merged(base, mine, there)
    for name in _TYPED:
        if getattr(both.inputs, name) != getattr(mine, name):
            state.put(name, getattr(both.inputs, name))
    if both.inputs.flags != mine.flags:
        state.put("flags", _chosen_flags(both.inputs))
    for number, value in enumerate(both.inputs.axis):
        state.put(f"axis-{number}", value)
    for name in _KEPT:
        if getattr(both.inputs, name) != getattr(mine, name):
            state.put(name, getattr(both.inputs, name))
    if both.inputs.rows != mine.rows:
        tape.show_rows(both.inputs.rows)
    st.info(text.OTHER_TAB, icon=":material/tab:")
    if both.clashes:
        clashes = ", ".join(text.CLASHES.get(name, name) for name in both.clashes)
        st.warning(text.OTHER_TAB_CLASH.format(clashes))
    state.hold(there)
    return both.inputs


def _chosen_flags(inputs: Inputs) -> list[str]:
    return [] if inputs.flags is None else list(inputs.flags or (text.NO_FLAG,))


def _head(draft: Draft, before: Inputs) -> None:
    if before.changes is None or before.saved is not None:
        frame.head(text.VISIT_TITLE, text.VISIT_LEAD)
        return
    frame.head(text.CHANGE_TITLE.format(before.changes, plain(before.client)), text.CHANGE_LEAD)
    if st.button(text.CHANGE_DROP, key=state.widget("drop"), icon=":material/undo:"):
        _set_aside(draft, before)


def _gathered(before: Inputs) -> Inputs:
    """Return what is typed and chosen now."""
    now: Mapping[str, object] = {name: state.value(name) for name in _TYPED}
    chosen = state.value("flags")
    flags = tuple(flag for flag in chosen if flag != text.NO_FLAG) if chosen else None
    now = {
        name: "" if value is None and name in ("posture", "clearance_by", "lies") else value
        for name, value in now.items()
    }
    axis = tuple(state.value(f"axis-{number}") for number in range(6))
    named = state.value("names")
    photos = before.names if named is None else named
    tapped = state.value("landmark")
    taped = state.value("places")
    answered = state.value("same_visit")
    same = before.same_visit if answered is None else answered
    return Inputs.model_validate(
        {
            **before.model_dump(),
            **now,
            "flags": flags,
            "axis": axis,
            "places": before.places if taped is None else taped,
            "landmark": before.landmark if tapped is None else tapped,
            "names": photos,
            "same_visit": same,
        }
    )


def _measured(draft: Draft, inputs: Inputs, inspected: Inspected | None, tape: TypedTape) -> Measured | None:
    waits = limb.waits(inputs, inspected)
    if waits or inspected is None:
        _waiting(draft, waits)
        return None
    found = limb.measured(draft, inputs, inspected, tape)
    return None if found is None else places.beside(found, inputs)


def _waiting(draft: Draft, waits: list[str]) -> None:
    st.subheader(text.RESULT_HEAD, anchor=False)
    st.info(text.RESULT_EMPTY)
    st.markdown("\n".join([text.RESULT_WAITS, "", *(f"- {words}" for words in waits)]))
    if not draft.photos:
        sample.button("visit")
        _unsaved(draft)


def _unsaved(draft: Draft) -> None:
    others = [other for other in all_drafts() if other.folder != draft.folder]
    worth = [(other, inputs) for other in others if _is_worth(other, inputs := inputs_or_none(other))][:4]
    if worth:
        st.subheader(text.UNSAVED_HEAD, anchor=False)
    for other, inputs in worth:
        left, right = st.columns([3, 1], vertical_alignment="center")
        left.markdown(_unsaved_line(other, inputs or Inputs()))
        if right.button(text.CONTINUE, key=f"continue-{other.folder.name}"):
            state.open_draft(other)
            st.rerun()


def _unsaved_line(other: Draft, inputs: Inputs) -> str:
    limb = present.limb_words(inputs.side, inputs.limb)
    line = text.UNSAVED_LINE.format(plain(inputs.client) or text.NO_CODE, len(other.photos), limb or "–")
    return line if inputs.changes is None else f"{line} · {text.UNSAVED_CHANGE.format(inputs.changes)}"


def _is_worth(other: Draft, inputs: Inputs | None) -> bool:
    if inputs is None:
        return True
    return inputs.saved is None and not inputs.cleared and bool(other.photos or inputs.client)


def _limb(draft: Draft, inputs: Inputs, measured: Measured, unit: Unit, beside: Sequence[Finding]) -> None:
    """Draw the evidence first, then the figures that rest on it; ``beside`` stands beside the photographs."""
    outlines.show(draft, measured, unit)
    summary = measuring.summary_of(measured)
    st.subheader(text.RESULT_HEAD, anchor=False)
    result.volume(summary, bool(measured.tape), unit)
    when = dates.typed_time(inputs.day, inputs.hour) or datetime.now().astimezone()
    both.results(summary, inputs.client.strip().upper(), when, unit)
    end = None if measured.end is None else measured.end.part
    result.shape(measured.fit.limb, measured.fit.tape_checks, draft.folder.name, unit, end)
    result.words(summary, unit, present.not_yet_told(summary.warnings, beside))
    result.download(summary)


def _status(draft: Draft, inputs: Inputs, measured: Measured | None, tape: TypedTape) -> None:
    """Draw the line that stays in sight: how it stands, the volume, and the way to keep it."""
    waits = saving.missing(inputs, tape)
    left, right = st.columns([3, 2], vertical_alignment="center")
    with left:
        if measured is None:
            st.markdown(text.STATUS_NO_LIMB)
        else:
            value, _ = present.volume_words(measuring.summary_of(measured), state.unit())
            needs = f"{text.STATUS_NEEDS} {', '.join(waits)}" if waits else present.ready_words(measured)
            st.markdown(f"**{value}**  \n:small[{needs}]")
    with right:
        pressed = st.button(
            text.SAVE if inputs.changes is None else text.SAVE_CHANGES,
            type="primary",
            disabled=measured is None or bool(waits),
            icon=":material/save:",
            width="stretch",
            key="save",
        )
    if pressed and measured is not None:
        _save(draft, inputs, measured)


def _save(draft: Draft, inputs: Inputs, measured: Measured) -> None:
    with frame.errors(), frame.steps() as tell:
        tell(text.STEP_SAVING)
        number = saving.save(draft, inputs, measured)
        work.close_photographs()
        sample.answer(inputs.client)
        state.keep(draft, inputs.model_copy(update={"saved": int(number)}))
        said = text.SAVED if inputs.changes is None else text.CHANGED
        state.flash(said.format(number, plain(inputs.client.strip().upper())))
        st.rerun()


def _locked(draft: Draft, inputs: Inputs) -> None:
    """Draw a visit that is saved: to look at, and to open again."""
    with frame.errors(), Store() as store:
        for line in store.list_visits(inputs.client):
            if line.id == inputs.saved:
                st.subheader(present.visit_line(line), anchor=False)
    with st.container(horizontal=True):
        both.button(draft, inputs)
        if st.button(text.NEXT, key="next", icon=":material/person_add:"):
            state.next_visit()
            st.rerun()
        for name, title, icon in (
            ("padding", text.PAGE_PADDING, "layers"),
            ("weeks", text.PAGE_WEEKS, "trending_down"),
        ):
            if st.button(title, icon=f":material/{icon}:", key=f"to-{name}"):
                chooser.remember(inputs.client.strip().upper())
                frame.go_to(name)
        reopen.button(inputs.saved or 0, "saved")
    with frame.errors(), Store() as store:
        for line in store.list_visits(inputs.client):
            if line.id == inputs.saved:
                safety.whole(store, line)
    with frame.errors():
        unit = state.unit()
        kept = stored.saved_limb(inputs.saved or 0)
        summary = kept.summary
        with Store() as store:
            visit = store.load_visit(VisitId(inputs.saved or 0))
        st.caption(text.SAVED_LOCKED.format(inputs.saved))
        result.volume(summary, bool(summary.tape_check), unit)
        both.results(summary, visit.client, visit.taken, unit)
        result.shape(kept.limb, (), draft.folder.name, unit, kept.end)
        result.words(summary, unit)
        result.download(summary)
    frame.foot()


def _start_over(draft: Draft, inputs: Inputs) -> None:
    if (
        inputs.changes is None
        and (draft.photos or inputs.client)
        and st.button(
            text.START_OVER, key=state.widget("over"), type="tertiary", icon=":material/restart_alt:"
        )
    ):
        _set_aside(draft, inputs)


def _set_aside(draft: Draft, inputs: Inputs) -> None:
    """Begin anew; what was entered is kept for a day, so that it can be taken back."""
    draft.write(inputs.model_copy(update={"cleared": True}))
    state.next_visit()
    state.flash(text.CLEARED, undo=draft)
    st.rerun()


frame.page(main)
