"""A visit: who, photographs, tape; the limb; save."""

from __future__ import annotations

from collections.abc import Mapping

import streamlit as st

from digitise.errors import DigitiseError
from digitise.output.model.form import ModelForm
from digitise.output.model.measured import Measured
from ui import present, state, text, work
from ui.components import chooser, frame, outlines, photographs, reopen, result, saving, tape
from ui.components import client as who
from ui.draft import Draft, Inputs, all_drafts
from ui.present import TypedTape
from ui.work import Inspected


def main() -> None:
    """Draw the page."""
    draft = state.draft()
    before = draft.inputs
    _head(draft, before)
    message = state.flash()
    if message:
        st.success(message, icon=":material/check_circle:")
    if before.saved is not None:
        _locked(draft, before)
        return
    left, right = st.columns([4, 5], gap="large")
    with left:
        who.client_and_limb(before)
        photographs.take_in(draft, before)
    inputs = _gathered(before)
    state.keep(draft, inputs)
    tape.offer_heights(inputs)
    with left:
        inspected = photographs.look(draft)
        unit = tape.head(before)
    typed = present.read_typed(tape.typed_rows(before), unit)
    state.keep(draft, inputs.model_copy(update={"unit": unit, "rows": tape.typed_rows(before)}))
    with right:
        measured = _measured(draft, draft.inputs, inspected, typed)
    checks = measured.fit.tape_checks if measured else ()
    with left:
        tape.table(draft.inputs, unit, typed, checks)
        for line in present.tape_advice(typed, checks, draft.inputs.limb or "leg"):
            st.warning(line)
        _start_over(draft)
    with right:
        if measured:
            _limb(draft, draft.inputs, measured)
    frame.foot()


def _head(draft: Draft, before: Inputs) -> None:
    if before.changes is None or before.saved is not None:
        frame.head(text.VISIT_TITLE, text.VISIT_LEAD)
        return
    frame.head(text.CHANGE_TITLE.format(before.changes, before.client), text.CHANGE_LEAD)
    if st.button(text.CHANGE_DROP, key=state.widget("drop"), icon=":material/undo:"):
        draft.remove()
        state.next_visit()
        st.rerun()


def _gathered(before: Inputs) -> Inputs:
    """Return what is typed and chosen now."""
    names = (
        "client",
        "limb",
        "side",
        "clearance",
        "clearance_by",
        "posture",
        "measured_by",
        "note",
        "sheets",
        "print_scale",
    )
    now: Mapping[str, object] = {name: state.value(name) for name in names}
    chosen = state.value("flags")
    flags = tuple(flag for flag in chosen if flag != text.NO_FLAG) if chosen else None
    now = {
        name: "" if value is None and name in ("posture", "clearance_by") else value
        for name, value in now.items()
    }
    axis = tuple(state.value(f"axis-{number}") for number in range(6))
    return Inputs.model_validate({**before.model_dump(), **now, "flags": flags, "axis": axis})


def _measured(draft: Draft, inputs: Inputs, inspected: Inspected | None, typed: TypedTape) -> Measured | None:
    waits = [
        words
        for there, words in ((inputs.limb, text.WAITS_LIMB), (inputs.side, text.WAITS_SIDE))
        if not there
    ]
    if inspected is None or len(inspected.seen) < 2 or inspected.inspection.refusals:
        waits.append(text.WAITS_PHOTOS)
    if inputs.has_axis and None in inputs.axis:
        waits.append(text.WAITS_AXIS)
    if waits or inspected is None:
        _waiting(draft, waits)
        return None
    corrections = {path.name: words for path in draft.photos if (words := draft.correction(path))}
    try:
        with frame.steps() as tell:
            return work.measure(
                draft.photos,
                inspected,
                work.field_of(draft),
                typed.rows,
                inputs.limb or "leg",
                inputs.side or "left",
                corrections,
                tell,
                work.axis_of(inputs),
            )
    except DigitiseError as error:
        frame.show_error(error)
        return None


def _waiting(draft: Draft, waits: list[str]) -> None:
    st.subheader(text.RESULT_HEAD, anchor=False)
    st.info(text.RESULT_EMPTY)
    st.markdown("\n".join([text.RESULT_WAITS, "", *(f"- {words}" for words in waits)]))
    if not draft.photos:
        _unsaved(draft)


def _unsaved(draft: Draft) -> None:
    others = [other for other in all_drafts() if other.folder != draft.folder and _is_worth(other)][:4]
    if others:
        st.subheader(text.UNSAVED_HEAD, anchor=False)
    for other in others:
        inputs = other.inputs
        limb = (
            f"{text.SIDES.get(inputs.side or '', '')} {text.LIMBS.get(inputs.limb or '', '').lower()}".strip()
        )
        line = text.UNSAVED_LINE.format(inputs.client or text.NO_CODE, len(other.photos), limb or "–")
        if inputs.changes is not None:
            line = f"{line} · {text.UNSAVED_CHANGE.format(inputs.changes)}"
        left, right = st.columns([3, 1], vertical_alignment="center")
        left.markdown(line)
        if right.button(text.CONTINUE, key=f"continue-{other.folder.name}"):
            state.open_draft(other)
            st.rerun()


def _is_worth(other: Draft) -> bool:
    return other.inputs.saved is None and bool(other.photos or other.inputs.client)


def _limb(draft: Draft, inputs: Inputs, measured: Measured) -> None:
    summary = work.summary_of(measured)
    st.subheader(text.RESULT_HEAD, anchor=False)
    result.volume(summary, bool(measured.tape))
    _save(draft, inputs, measured)
    result.shape(measured.fit.limb, measured.fit.tape_checks, draft.folder.name)
    outlines.show(draft, measured, locked=False)
    result.words(summary)
    _download(summary)


def _save(draft: Draft, inputs: Inputs, measured: Measured) -> None:
    waits = saving.missing(inputs)
    pressed = st.button(
        text.SAVE if inputs.changes is None else text.SAVE_CHANGES,
        type="primary",
        disabled=bool(waits),
        icon=":material/save:",
        width="stretch",
        key="save",
    )
    if waits:
        st.caption(f"{text.RESULT_WAITS} {', '.join(waits)}.")
    if pressed:
        with frame.errors(), frame.steps() as tell:
            tell(text.STEP_SAVING)
            number = saving.save(draft, inputs, measured)
            state.keep(draft, inputs.model_copy(update={"saved": int(number)}))
            state.flash(
                (text.SAVED if inputs.changes is None else text.CHANGED).format(
                    number, inputs.client.strip().upper()
                )
            )
            st.rerun()


def _locked(draft: Draft, inputs: Inputs) -> None:
    """Draw a visit that is saved: to look at, and to open again."""
    with st.container(horizontal=True):
        if st.button(text.NEXT, type="primary", icon=":material/person_add:"):
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
    with frame.errors():
        summary, limb = work.saved_limb(inputs.saved or 0)
        st.caption(text.SAVED_LOCKED.format(inputs.saved))
        result.volume(summary, bool(summary.tape_check))
        result.shape(limb, (), draft.folder.name)
        result.words(summary)
        _download(summary)
    frame.foot()


def _download(summary: ModelForm) -> None:
    st.download_button(
        text.DOWNLOAD_MODEL,
        summary.model_dump_json(indent=1),
        "model.json",
        "application/json",
        icon=":material/download:",
        on_click="ignore",
    )


def _start_over(draft: Draft) -> None:
    if (
        draft.inputs.changes is None
        and (draft.photos or draft.inputs.client)
        and st.button(
            text.START_OVER, key=state.widget("over"), type="tertiary", icon=":material/restart_alt:"
        )
    ):
        draft.remove()
        state.next_visit()
        st.rerun()


main()
